"""The customer's link: an expiring page without scripts that takes clips, pictures and words.

Why it exists: a customer with a hissing machine needs the safety words first,
at once, on whatever phone they have, and the technician needs the clip before
it is forgotten. What arrives is stored before anybody tries to understand it;
the receipt number means that the bytes are kept.

Conventions
-----------
A link's token is known to its holder alone: on disk lies only its SHA-256.
Everything that comes in is a stranger's: it is counted and measured while it
arrives, judged by decoding and never by its name, and shown as text.
"""

"""Serve the page to phones in the shop: certificate authority, addresses, QR code, PIN.

A phone gives a page its microphone only over a secure connection, and the
page must not be everybody's: so the shop has a certificate authority of its
own, good for private addresses alone, and a PIN stands before everything.
"""

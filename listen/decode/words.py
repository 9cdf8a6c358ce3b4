"""The sentences of this package: code → what is wrong and what to do next.

The child sends codes and numbers only; every word a person reads stands here.
"""

from __future__ import annotations

from listen.errors import ListenError, UnreadableClip, UnusableClip

_AGAIN = "send the original file again"

_UNREADABLE = {
    # What the bytes look like.
    "empty": f"the file is empty; {_AGAIN}.",
    "playlist": "this is a list that points to other files, not a recording; send the recording itself.",
    "text": f"this is a text file, not a recording; {_AGAIN}.",
    "web_page": "this is a web page, not a recording; download the recording itself and send that.",
    "archive": "this is a packed archive, not a recording; unpack it and send the recording inside.",
    "picture": "this is a picture, not a recording; send the sound or video clip.",
    "document": "this is a document, not a recording; send the sound or video clip.",
    "tag_only": f"the file holds a title tag but no sound that can be found; {_AGAIN}.",
    "unknown": "this is no kind of recording known here; send it as m4a, wav, mp3 or a phone video.",
    # What the child found.
    "not_opened": f"the file is damaged or not complete and cannot be opened; {_AGAIN}.",
    "no_index": f"the end of the file is missing, and with it the index that makes it readable; {_AGAIN}.",
    "video_only": "this video has no sound; record again with the microphone on.",
    "no_sound": "there is no sound track in this file; send the recording itself.",
    "codec": "the sound is coded in a way that cannot be read here; send it as m4a, wav or mp3.",
    "nothing_decoded": f"the sound in this file is damaged and nothing of it can be decoded; {_AGAIN}.",
    "channels": "the sound has more than 8 channels or an odd sample format; send it in stereo or mono.",
    "rate": "the stated sample rate is impossible; send the original file again.",
    # Limits and accidents.
    "too_long": "the recording is longer than the limit of {limit_h:g} hours; cut out the part that matters.",
    "memory": f"decoding needs more memory than allowed, the file is probably damaged; {_AGAIN}.",
    "time": f"decoding takes longer than allowed, the file is probably damaged; {_AGAIN}.",
    "killed": f"decoding was ended by the system, it needs too much time or memory; {_AGAIN}.",
    "crashed": f"the file is damaged in a way that broke off decoding; {_AGAIN}.",
}
_UNUSABLE = {
    "no_samples": "the recording holds no sound at all (zero length); record again.",
    "too_short": "the recording is shorter than 0.5 seconds; record at least 10 seconds.",
    "not_numbers": "no sample of this recording is a number; send the original file again.",
}
_OURS = {
    "decoder_missing": "The decoder (PyAV) cannot be loaded: install the project again.",
    "no_answer": "The decoder did not start: try again, and install the project again if it stays so.",
}


def sentence(code: str, name: str, **values: float) -> ListenError:
    """Return the error to raise for a code.

    Parameters
    ----------
    code : str
        An unknown code counts as `crashed`.
    name : str
        Shown name of the clip.
    **values : float
        Numbers that the sentence of this code names.
    """
    if code in _OURS:
        return ListenError(_OURS[code])
    if code in _UNUSABLE:
        return UnusableClip(f"{name}: {_UNUSABLE[code]}")
    words = _UNREADABLE.get(code, _UNREADABLE["crashed"])
    return UnreadableClip(f"{name}: {words.format(**values) if values else words}")


def at(seconds: float) -> str:
    """Write a moment as M:SS.

    Examples
    --------
    >>> at(75.4)
    '1:15'
    """
    whole = int(seconds)
    return f"{whole // 60}:{whole % 60:02d}"

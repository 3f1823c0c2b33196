"""The bytes of a text table as text: which encoding they are in, and how sure that is.

A station's name that is read in another encoding is another station, and the one that is meant
keeps its older reading: so nothing is guessed in silence.
"""

from __future__ import annotations

import codecs
import re
import unicodedata
from itertools import pairwise

from siltbook.batch.errors import BookError

ENCODED = 300_000  # [bytes] that tell an encoding
ENCODINGS = ("cp1252", "mac_roman", "cp850", "cp1250", "cp1251", "cp1253")
_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
LOST = "\ufffd"  # stands where a byte is none of a text: no number can be read from that
_WORDS = re.compile(r"[^\s;,|\"]*[^\x00-\x7f][^\s;,|\"]*")
_UTF8 = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe1-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}")
_AMID = "’‘"  # signs that stand between letters
_BESIDE = "’‘“”«»–—°ºª·²³µ"  # and at one end of them
_SHOWN = 4  # words that a sentence shows


def decode(data: bytes, name: str) -> str:
    """A text file's bytes as text; a byte order mark is taken off."""
    return decoded(data, name)[0]


def decoded(data: bytes, name: str) -> tuple[str, str]:
    """As `decode`, and a sentence where the encoding was told by what the letters look like."""
    if b"\x00" in data[:4096] and data[:2] not in (b"\xff\xfe", b"\xfe\xff"):
        raise BookError(f"{name} holds bytes that no text has: export it again as CSV.")
    text, said = _in_encoding(data, name)
    # Bytes of a power cut amid a number: without them 3.1 and 5 would be one, 3.15.
    text = re.sub("\x00+", LOST, text)
    # Lines of some older programs end in a carriage return alone.
    return text if "\n" in text else text.replace("\r", "\n"), said


def _in_encoding(data: bytes, name: str) -> tuple[str, str]:
    for mark, encoding in _MARKS:
        if data.startswith(mark):
            return data.decode(encoding, errors="replace"), ""
    try:
        return data.decode("utf-8"), ""
    except UnicodeDecodeError:
        pass
    # Letters of several bytes stand in no other encoding by chance: what is none of them is odd.
    mixed = _UTF8.search(data) is not None
    encoding, settled = _encoding(data[:ENCODED], mixed=mixed)
    text = _read(data, encoding, mixed=mixed)
    return text, "" if settled and not mixed else _told(name, encoding, text, mixed=mixed)


def _read(data: bytes, encoding: str, *, mixed: bool) -> str:
    """Bytes in an encoding; of a mixed text those alone that are not in UTF-8."""
    if not mixed:
        return data.decode(encoding, errors="replace")

    def other(error: UnicodeError) -> tuple[str, int]:
        assert isinstance(error, UnicodeDecodeError)
        return error.object[error.start : error.end].decode(encoding, "replace"), error.end

    codecs.register_error("siltbook-mixed", other)
    return data.decode("utf-8", errors="siltbook-mixed")


def _told(name: str, encoding: str, text: str, *, mixed: bool) -> str:
    words = list(dict.fromkeys(_WORDS.findall(text[:ENCODED])))[:_SHOWN]
    shown = ", ".join(f"'{word}'" for word in words)
    what = f"{name} is in UTF-8 in part, and the rest" if mixed else f"{name} is not in UTF-8 and"
    return (
        f"{what} was read as {encoding}, by what the letters look like: {shown}. Where they are"
        " wrong, save the source as CSV UTF-8 and begin again with that: a station under a wrong"
        " name is another station."
    )


def _encoding(data: bytes, *, mixed: bool) -> tuple[str, bool]:
    """The one-byte encoding in which most words are known, and then fewest look odd; and whether
    known words settle it."""
    texts = {e: _read(data, e, mixed=mixed) for e in ENCODINGS}
    known = {e: _known(text) for e, text in texts.items()}
    most = max(known.values())
    odd = {e: oddness(texts[e]) for e in ENCODINGS if known[e] == most}
    best = min(odd, key=lambda e: odd[e])
    alike = {texts[e] for e in odd if odd[e] == odd[best]}
    return best, most > min(known.values()) and len(alike) == 1


def _known(text: str) -> int:
    """How many words with letters beyond ASCII are in the word table; others are known in any."""
    from siltbook.batch.adopt.words import known_words, plain

    words = (w.strip("()[]:.") for w in set(_WORDS.findall(text)))
    plainly = (w for w in words if w.isalpha() and len(plain(w)) > 2 and not _odd(w))
    return sum(known_words(word) > 0 for word in plainly)


def oddness(text: str) -> int:
    """How odd the words with letters beyond ASCII look: RÝo, a±o, Ïîëå, letters of two scripts."""
    return sum(map(_odd, set(_WORDS.findall(text))))


def _odd(word: str) -> int:
    odd = 3 * sum(c == LOST or unicodedata.category(c) == "Cc" for c in word)
    odd += 2 * sum((unicodedata.category(c) == "So" and c != "°") or c in "ƒ„‚" for c in word)
    for run in re.findall(r"[^\W\d_]+", word):
        scripts = {unicodedata.name(c, "?").split()[0] for c in run if c not in _BESIDE}
        odd += 2 * (len(scripts) > 1)
        odd += 2 * (scripts == {"LATIN"} and len(run) > 2 and not any(map(str.isascii, run)))
        odd += sum(a.islower() and b.isupper() for a, b in pairwise(run))
    amid = re.findall(r"(?<=[^\W\d_])[^\w\s](?=[^\W\d_])", word)
    beside = re.findall(r"(?<=[^\W\d_])[^\w\s]|[^\w\s](?=[^\W\d_])", word)
    odd += 2 * sum(not c.isascii() and c not in _BESIDE for c in beside)
    return odd + 2 * sum(not c.isascii() and c not in _AMID for c in amid)

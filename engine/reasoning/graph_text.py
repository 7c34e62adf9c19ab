"""Text in a picture: what can be shown, how wide it is at the most in whatever plain font, where it may be broken."""

from __future__ import annotations

import re
import unicodedata

_WIDTHS = {
    300: "ijlI'",
    340: " ,./:;\\|",
    365: "f-",
    420: "()[]tr!",
    500: '"*_`',
    535: "sz?",
    595: "cLFkvxyJ",
    640: "PTYaoeESbdghnpqu$0123456789{}",
    700: "KAVBRXZC",
    790: "UHNDG&OQ",
    850: "w#+<=>^~",
    1000: "Mm%W@",
}
_WIDTH_OF = {character: width for width, characters in _WIDTHS.items() for character in characters}
"""Of each character in thousandths of the size of the font, by the widest of the usual plain fonts."""

_BOLD = 1.27
"""No bold character is wider than this times the plain one."""

_BREAK_AFTER = re.compile(r"(?<=[._,/:;=-])(?=[^\s._,/:;=-])")


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """The width of a line in the unit of `size`, rather too great than too small."""
    thousandths = sum(_WIDTH_OF.get(character) or _other(character) for character in text)
    return thousandths / 1000 * size * (_BOLD if bold else 1)


def _other(character: str) -> int:
    plain = unicodedata.normalize("NFD", character)[0]
    if plain in _WIDTH_OF:
        return _WIDTH_OF[plain]
    category = unicodedata.category(character)
    if category in ("Mn", "Me", "Cf"):
        return 500
    if unicodedata.east_asian_width(character) in "WF" or category not in ("Ll", "Lo", "Lm", "Nd", "Lu"):
        return 1450
    return 1050 if category == "Nd" else 1270


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """The text in lines no wider than `width`, broken at spaces, else after a mark, else anywhere; never cut."""
    return [line for paragraph in text.split("\n") for line in _lines(paragraph, width, size, bold)]


def _lines(text: str, width: float, size: float, bold: bool) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines else word
        if width_of(joined, size, bold=bold) <= width:
            lines[-1:] = [joined]
            continue
        start = ""
        for piece in _pieces(word, width, size, bold):
            if start and width_of(start + piece, size, bold=bold) > width:
                lines.append(start)
                start = ""
            start += piece
        lines.append(start)
    return lines


def _pieces(word: str, width: float, size: float, bold: bool) -> list[str]:
    pieces = []
    for piece in _BREAK_AFTER.split(word):
        fits = width_of(piece, size, bold=bold) <= width
        pieces.extend([piece] if fits else list(piece))
    return pieces


def legible(text: str) -> str:
    """The text with whatever no picture can hold, or would turn the line about, shown as a replacement character."""
    return "".join(character if _is_plain(character) else "\ufffd" for character in text)


def _is_plain(character: str) -> bool:
    if character in "\n\t":
        return True
    if unicodedata.category(character) in ("Cc", "Cs"):
        return False
    return not ("\u202a" <= character <= "\u202e" or "\u2066" <= character <= "\u2069" or character in "\ufffe\uffff")

"""From an open stream to lines and pieces of text, whatever the encoding."""

import codecs
import io
from collections.abc import Iterator
from typing import BinaryIO, Final, TextIO

from pilotsignal.errors import CsvError

HEAD_LINES: Final = 200
_PIECE: Final = 4 << 20
_TELLING: Final = 4096
_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_NOT_TEXT: Final = (
    "The input is not a text file; export the record as CSV (one row for each sample)."
)


class TextSource:
    """Text of a stream, its first lines at hand and the rest read piece by piece.

    Parameters
    ----------
    stream : open for reading, text or bytes; it is read from where it stands and not closed.

    Raises
    ------
    CsvError : nothing in it, or not text.
    """

    def __init__(self, stream: TextIO | BinaryIO) -> None:
        self._stream = stream
        self._decoder: io.IncrementalNewlineDecoder | None = None
        self._ended = False
        self._first = self._read()
        while not self._ended and self._first.count("\n") < HEAD_LINES:
            self._first += self._read()
        if not self._first.strip():
            raise CsvError("The input is empty; export the record again.")
        _require_text(self._first)
        self.head = tuple(self._first.split("\n", HEAD_LINES)[:HEAD_LINES])

    def pieces(self, skip_lines: int) -> Iterator[str]:
        """Text after the first `skip_lines` lines (all in the head), in pieces of whole lines."""
        rest = self._first.split("\n", skip_lines)[-1]
        self._first = ""
        while True:
            whole, newline, begun = rest.rpartition("\n")
            if newline:
                yield whole + newline
            if self._ended:
                break
            rest = begun + self._read()
        if begun:
            yield begun

    def _read(self) -> str:
        try:
            data = self._stream.read(_PIECE)
        except UnicodeDecodeError as problem:
            raise CsvError(_NOT_TEXT) from problem
        self._ended = not data
        if isinstance(data, str):
            decoder = self._decoder = self._decoder or io.IncrementalNewlineDecoder(None, True)
            return decoder.decode(data, final=self._ended)
        if self._decoder is None:
            data = self._until_telling(data)
            codec = codecs.getincrementaldecoder(_encoding(data))(errors="replace")
            self._decoder = io.IncrementalNewlineDecoder(codec, True)
        return self._decoder.decode(data, final=self._ended)

    def _until_telling(self, data: bytes) -> bytes:
        """Enough bytes to tell the encoding: a pipe hands out as few as it likes."""
        while len(data) < _TELLING:
            more = self._stream.read(_PIECE)
            if not isinstance(more, bytes) or not more:
                break
            data += more
        return data


def _encoding(data: bytes) -> str:
    for mark, name in _BOMS:
        if data.startswith(mark):
            return name
    try:
        # A character may be cut at the end of the piece.
        codecs.getincrementaldecoder("utf-8")().decode(data)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _require_text(text: str) -> None:
    begin = text[:65536]
    odd = sum(1 for sign in begin if ord(sign) < 32 and sign not in "\t\n\f")
    odd += begin.count("\N{REPLACEMENT CHARACTER}")
    if "\0" in begin or odd > len(begin) // 50:
        raise CsvError(_NOT_TEXT)


def sniff_delimiter(lines: tuple[str, ...]) -> str | None:
    """Delimiter of most of `lines`: tab, semicolon, comma, blank (as ``" "``), or ``None``.

    Comment lines do not count.  Semicolon and tab go before the comma, which may be a decimal
    sign beside them.
    """
    told = [line for line in lines if line.strip() and not is_comment(line)]
    for candidate in ("\t", ";", ","):
        if sum(candidate in line for line in told) * 2 > len(told):
            return candidate
    if sum(len(line.split()) > 1 for line in told) * 2 > len(told):
        return " "
    return None


def is_comment(line: str) -> bool:
    """Whether the line begins with a sign for comments."""
    return line.lstrip().startswith(("#", "%", "//"))


def split_cells(line: str, delimiter: str | None) -> tuple[str, ...]:
    """Cells without blanks and quotes around them, empty trailing cells dropped."""
    parts = [line] if delimiter is None else line.split(None if delimiter == " " else delimiter)
    cells = [part.strip().strip('"').strip() for part in parts]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)

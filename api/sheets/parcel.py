"""A workbook as the parcel of parts that it is (a ZIP of XML), looked over before anything reads it.

Sizes that the directory of the archive states are believed nowhere: every part is expanded once, block by block, and
counted. Runs in the process that reads workbooks, not in the service.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from typing import Final

from api.sheets.model import Limits, SheetError

_LINKS: Final = "_rels/.rels"
_CONTENT_TYPES: Final = "[content_types].xml"
_STRINGS: Final = "xl/sharedstrings.xml"
_BLOCK: Final = 1 << 20
_INTERPRETER: Final = 64 << 20
_CELL: Final = 200
_BLANK: Final = 32
_RATIO_FROM: Final = 1 << 20
_ENTRY: Final = b"PK\x01\x02"
_LOCAL: Final = b"PK\x03\x04"
_NESTED: Final = (_LOCAL, b"\xd0\xcf\x11\xe0")
_XML_NAMES: Final = (".xml", ".rels", ".vml")
# Comments and CDATA are no declarations.
_DECLARES: Final = re.compile(rb"<![^\-\[]")
_DECLARED: Final = re.compile(rb"<\?xml[^>]*encoding\s*=\s*[\"']([^\"']*)")
_SAVE: Final = (
    'open it in a spreadsheet program, save it without macros as a workbook (.xlsx) or as "CSV UTF-8", and send that'
)

DAMAGED: Final = f"The workbook is damaged or was cut short on its way: {_SAVE}."
_NO_WORKBOOK: Final = f"The file is an archive, not a workbook: {_SAVE}."
_FEWER: Final = 'send fewer rows at a time, or save it as "CSV UTF-8"'
_PLAIN: Final = "send a workbook that holds cells only"

# What is refused by the name of a part alone, in lower case.
_REFUSED_NAMES: Final = (
    (re.compile(r"vbaproject\.bin$|^xl/macrosheets/"), f"The workbook has macros: {_SAVE}."),
    (
        re.compile(r"^xl/externallinks/"),
        "The workbook takes values from other files: paste its cells as values into a new workbook, and send that.",
    ),
    (re.compile(r"^xl/embeddings/"), f"The workbook has other files inside: {_PLAIN}."),
    (re.compile(r"^xl/workbook\.bin$"), f"The file is a binary workbook (.xlsb): {_SAVE}."),
    (re.compile(r"^encryptedpackage$"), "The workbook is locked with a password: take it off, save, and send that."),
)


class Parcel:
    """The parts of a workbook, by name in lower case.

    Args:
        data: The file.
        limits: What it may be at most.

    Raises:
        SheetError: it is no workbook, or one that is not read here.
    """

    def __init__(self, data: bytes, limits: Limits) -> None:
        self._data = data
        self._limits = limits
        # Counted first: reading the directory of a file full of entries is what such a file is made for.
        if data.count(_ENTRY) > limits.parts:
            raise SheetError(f"The workbook has more than {limits.parts} parts inside: {_PLAIN}.")
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                entries = archive.infolist()
        except (zipfile.BadZipFile, NotImplementedError, OSError, ValueError, struct.error) as bad:
            raise SheetError(DAMAGED) from bad
        self._total = 0
        self._parts = {_plain_name(entry.filename): entry for entry in entries}
        if len(self._parts) < len(entries):
            raise SheetError(DAMAGED)  # two parts of one name: another reader may take the other
        self._check_names()
        self._check_entries()

    def _check_names(self) -> None:
        if "mimetype" in self._parts and "content.xml" in self._parts:
            raise SheetError(f"The file is a document of another kind (.ods or alike): {_SAVE}.")
        for pattern, says in _REFUSED_NAMES:
            if any(pattern.search(name) for name in self._parts):
                raise SheetError(says)
        if _LINKS not in self._parts or _CONTENT_TYPES not in self._parts:
            raise SheetError(_NO_WORKBOOK)

    def _check_entries(self) -> None:
        for name, entry in self._parts.items():
            if entry.flag_bits & 1:
                raise SheetError("The workbook is locked with a password: take it off, save, and send that.")
            if entry.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
                raise SheetError(DAMAGED)
            self._check_size(name, entry.file_size, entry.compress_size)
        if sum(entry.file_size for entry in self._parts.values()) > self._limits.expanded_bytes:
            raise _too_large(self._limits)

    def _check_size(self, name: str, size: int, packed: int) -> None:
        limits = self._limits
        if size > limits.expanded_bytes or (size > _RATIO_FROM and size > limits.ratio * packed):
            raise _too_large(limits)
        if name == _STRINGS and size > limits.strings_bytes:
            raise SheetError(f"The texts of the workbook take more than {limits.strings_bytes >> 20} MB: {_FEWER}.")

    def __contains__(self, name: str) -> bool:
        """Return whether there is a part of this name."""
        return name in self._parts

    def check(self, but: str) -> None:
        """Expand every part but one, and refuse what has no place in a workbook of cells.

        Raises:
            SheetError: a part is not what it says, too large, or no XML that is read here.
        """
        strings = 0
        for name in self._parts:
            for block in self.blocks(name) if name != but else ():
                strings += block.count(b"<si") if name == _STRINGS else 0
                if strings > self._limits.strings:
                    raise SheetError(f"The workbook has more than {self._limits.strings} texts: {_FEWER}.")
                if name == _CONTENT_TYPES and b"macroenabled" in block.lower():
                    raise SheetError(f"The workbook has macros: {_SAVE}.")

    def memory(self, cells: int, area: int) -> int:
        """Return the bytes of address space that its reader needs for so many cells, generously.

        Measured with python-calamine 0.9: the file is held twice, a cell takes 40 bytes while the list of cells grows
        by doubling, then 32 bytes of a dense block, and its text. A file that says one long text in very many cells
        needs more, and is not read.
        """
        strings = self._parts.get(_STRINGS)
        texts = strings.file_size if strings else 0
        return _INTERPRETER + 2 * len(self._data) + _CELL * cells + _BLANK * area + 3 * texts

    def blocks(self, name: str) -> Iterator[bytes]:
        """Expand a part.

        Raises:
            SheetError: see :meth:`check`.
        """
        xml = name.endswith(_XML_NAMES)
        before = b""
        for block in self._expanded(name):
            if not before:
                if block.startswith(_NESTED):
                    raise SheetError(f"The workbook has another file inside: {_PLAIN}.")
                xml = xml or block.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")
            if xml:
                _check_xml(before, block)
            before = block[-2:]
            yield block

    def _expanded(self, name: str) -> Iterator[bytes]:
        """Expand a part whatever is in it, counting."""
        entry, size = self._parts[name], 0
        for block in self._inflated(entry):
            size += len(block)
            self._total += len(block)
            self._check_size(name, size, entry.compress_size)
            if self._total > self._limits.expanded_bytes:
                raise _too_large(self._limits)
            yield block
        if size != entry.file_size:
            raise SheetError(DAMAGED)

    def _inflated(self, entry: zipfile.ZipInfo) -> Iterator[bytes]:
        data, start = self._data, entry.header_offset
        if data[start : start + 4] != _LOCAL or start + 30 > len(data):
            raise SheetError(DAMAGED)
        start += 30 + sum(struct.unpack_from("<HH", data, start + 26))
        packed = memoryview(data)[start : start + entry.compress_size]
        if entry.compress_type == zipfile.ZIP_STORED:
            yield from (bytes(packed[at : at + _BLOCK]) for at in range(0, len(packed), _BLOCK))
            return
        inflate = zlib.decompressobj(-zlib.MAX_WBITS)
        try:
            for at in range(0, len(packed), _BLOCK):
                block = inflate.decompress(packed[at : at + _BLOCK], _BLOCK)
                while block:
                    yield block
                    block = inflate.decompress(inflate.unconsumed_tail, _BLOCK)
        except zlib.error as bad:
            raise SheetError(DAMAGED) from bad
        if not inflate.eof:
            raise SheetError(DAMAGED)


def _plain_name(name: str) -> str:
    """Return a part's name as other readers may take it: whatever its case and its strokes."""
    return name.replace("\\", "/").lstrip("/").lower()


def _check_xml(before: bytes, block: bytes) -> None:
    """Refuse XML that declares anything, or hides it in another encoding.

    Args:
        before: The last bytes of the block before; none for the first.
        block: The block.
    """
    joined = before + block if before else block
    if not before and (declared := _DECLARED.match(joined.lstrip(b"\xef\xbb\xbf"))):
        named = declared[1].lower()
        if named not in {b"utf-8", b"us-ascii"}:
            raise SheetError(DAMAGED)
    if b"\0" in block:
        raise SheetError(DAMAGED)
    if _DECLARES.search(joined):
        raise SheetError(f"A part of the workbook declares a document type: {_SAVE}.")


def _too_large(limits: Limits) -> SheetError:
    return SheetError(
        f"The workbook grows to more than {limits.expanded_bytes >> 20} MB or {limits.ratio} times its size when it is"
        f" opened: {_FEWER}."
    )

"""Sheets made to do harm, or that go wrong without meaning to: each is written to a path by a function.

What each must come to stands beside it: words of the refusal, or the rows that it is read as. Nothing large is held in
memory while a file is made, so that what a reader takes can be measured in the same run.
"""

from __future__ import annotations

import datetime as dt
import io
import random
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from support.books import (
    GOOD_ROWS,
    MAIN,
    ROOT,
    Content,
    blanks_in_rows,
    book,
    cells_in_rows,
    put,
    relations,
    sheet,
    streamed,
    text,
    types,
    workbook,
)

OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
MILLION = 1_000_000


@dataclass(frozen=True)
class Hostile:
    """One file: how it is made, and the words of its refusal or, if it is harmless, its first rows."""

    name: str
    make: Callable[[Path], None]
    says: str | None = None
    row: int | None = None
    rows: list | None = None
    slow: bool = False  # takes seconds to make


# ---- CSV


def raw(content: bytes) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        path.write_bytes(content)

    return make


def repeated(head: bytes, block: bytes, times: int, tail: bytes = b"") -> Callable[[Path], None]:
    def make(path: Path) -> None:
        with path.open("wb") as file:
            file.write(head)
            for _ in range(times):
                file.write(block)
            file.write(tail)

    return make


MEGABYTE = 1 << 20
CSV = [
    Hostile("empty file", raw(b""), "empty"),
    Hostile("nothing but a byte order mark", raw(b"\xef\xbb\xbf"), "empty"),
    Hostile("NUL", repeated(b"a,b\n", b"1,2\n", 5_000, b"3,\0\n"), "NUL", 5_002),
    Hostile("NUL in UTF-16", raw("\ufeffa,b\n1,\0\n".encode("utf-16-le")), "NUL", 2),
    Hostile("text behind a closing quote", raw(b'a,b\n1,2\n"x"y,2\n'), "behind a closing quote", 3),
    Hostile("quote never closed", raw(b'a,b\n1,2\n"x,2\n3,4\n'), "never closed", 3),
    Hostile("quote never closed, 50 MB below it", repeated(b'a,b\n1,"2\n', b"3,4\n" * 25_000, 500), "never closed", 2),
    Hostile("one cell of 50 MB", repeated(b"a,b\n1,", b"x" * MEGABYTE, 50), "never closed", 2),
    Hostile("header of 50 MB", repeated(b"a", b"x" * MEGABYTE, 50), "never closed", 1),
    Hostile("a row of 50 million cells", repeated(b"a,b\n", b"," * MEGABYTE, 50), "goes on", 2),
    Hostile("a row that never ends, in quotes", repeated(b"a,b\n", b'"\n",' * 250_000, 50), "goes on", 2),
    Hostile("16,384 columns", repeated(b"a", b",b" * 16_383, 1, b"\n"), "16384 columns", 1),
    Hostile("16,384 cells below two columns", repeated(b"a,b\n1", b",2" * 16_383, 1), "16384 cells", 2),
    Hostile("cell of 40,000 characters", raw(b"a,b\n1," + b"x" * 40_000), "40000 characters", 2),
    Hostile("Latin-1", raw("größe,b\n1,2\n".encode("latin-1")), "no UTF-8", 1),
    Hostile(
        "two encodings", repeated("größe,b\n".encode(), b"1,2\n", 5_000, "ü,2\n".encode("latin-1")), "no UTF-8", 5_002
    ),
    Hostile("UTF-16 without its mark", raw("reference,count\nR1,3\n".encode("utf-16-le")), "looks like UTF-16"),
    Hostile("UTF-16 cut within a character", raw("\ufeffa,b\n1,2".encode("utf-16-be") + b"\0"), "no UTF-16", 2),
    Hostile("half a surrogate pair", raw(b"a,b\n1,\xed\xa0\x80\n"), "no UTF-8", 2),
    Hostile("a column named twice", raw(b"a,b, a\n1,2,3\n"), "same name", 1),
    Hostile("nameless header", raw(b",,\n1,2,3\n"), "first row is empty", 1),
    Hostile("carriage returns alone", raw(b"a,b\r1,2\r"), "carriage return", 1),
    Hostile("as many commas as semicolons", raw(b"a,b;c\n1,2;3\n"), "as many", 1),
    Hostile("web page", raw(b"<html><table><tr><td>a</td></tr></table></html>"), "XML"),
    Hostile("PDF", raw(b"%PDF-1.7\n"), "PDF"),
    Hostile("a million rows too many", repeated(b"a\n", b"1\n" * 100_000, 11), "more than 1048576 rows", 1_048_577),
    Hostile("a million empty rows", repeated(b"a,b\n", b",\n" * 100_000, 10), rows=[]),
]


# ---- workbooks


def lying_sizes(path: Path) -> None:
    """Say 100 bytes where 200 MB come out, and give the checksum of those 100."""
    whole = sheet(GOOD_ROWS).encode()[:100]
    compress = zlib.compressobj(9, zlib.DEFLATED, -15)
    packed = compress.compress(whole)
    packed += b"".join(compress.compress(b" " * MEGABYTE) for _ in range(200)) + compress.flush()
    book(path, sheet=b"#" * 60)
    content = path.read_bytes()
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        kept = [(entry.filename, archive.read(entry)) for entry in archive.infolist()]
    out, directory = io.BytesIO(), b""
    for name, data in kept:
        lie = name.endswith("sheet1.xml")
        body, said, method = (packed, whole, 8) if lie else (data, data, 0)
        fields = struct.pack("<HHHHHIII", 20, 0, method, 0, 0x21, zlib.crc32(said), len(body), len(said))
        at = out.tell()
        named = struct.pack("<HH", len(name), 0)
        out.write(b"PK\x03\x04" + fields + named + name.encode() + body)
        rest = struct.pack("<HHHII", 0, 0, 0, 0, at)
        directory += b"PK\x01\x02" + struct.pack("<H", 20) + fields + named + rest + name.encode()
    at = out.tell()
    end = struct.pack("<HHHHIIH", 0, 0, len(kept), len(kept), len(directory), at, 0)
    out.write(directory + b"PK\x05\x06" + end)
    path.write_bytes(out.getvalue())


def cut_short(path: Path) -> None:
    book(path)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) * 2 // 3])


def flipped(path: Path) -> None:
    book(path)
    content = bytearray(path.read_bytes())
    at = content.index(b"xl/worksheets/sheet1.xml") + 40
    content[at] ^= 0xFF
    path.write_bytes(content)


def twice_the_same_part(path: Path) -> None:
    book(path, {"XL/worksheets/Sheet1.xml": sheet(GOOD_ROWS)})


def nested(path: Path) -> None:
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as archive:
        archive.writestr("a", "b")
    book(path, {"xl/media/image1.png": inner.getvalue()})


def entity_bomb(part: str) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        entities = '<!ENTITY a0 "ha">' + "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
        before = f'<?xml version="1.0"?><!DOCTYPE b [{entities}]>'
        whole = {
            "sheet": before + sheet(f'<row r="1">{text("A1", "&a9;")}</row>'),
            "workbook": workbook(before=before, sheets='<sheet name="&a9;" sheetId="1" r:id="rId1"/>'),
        }
        book(path, **{part: whole[part]})

    return make


def shared_strings(path: Path, many: bytes, times: int, cells: Iterable[bytes] | None = None) -> None:
    head = f'<sst xmlns="{MAIN}">'
    book(
        path,
        {"xl/sharedStrings.xml": streamed(head, many, times, "</sst>")},
        relations=relations("worksheets/sheet1.xml", "styles.xml", "sharedStrings.xml"),
        **({"sheet": cells} if cells is not None else {}),
    )


def incompressible(count: int) -> bytes:
    """Return texts that hardly compress, so that the ratio shows nothing."""
    state, found = 1, []
    for _ in range(count):
        state = state * 6_364_136_223_846_793_005 % (1 << 64) + 1
        found.append(f"<si><t>{state:020}</t></si>")
    return "".join(found).encode()


def with_sheet(rows: str, more: str = "", **changed: Content) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        book(path, sheet=sheet(rows, more), **changed)

    return make


def with_parts(parts: dict[str, Content], **changed: Content) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        book(path, parts, **changed)

    return make


def far_out(ref: str, quote: str = '"') -> Callable[[Path], None]:
    number = "".join(sign for sign in ref if sign.isdigit())
    far = f"<row r='{number}'><c r={quote}{ref}{quote}><v>1</v></c></row>"
    return with_sheet(f'<row r="1">{text("A1", "a")}</row>{far}')


def days(base: str) -> Callable[[Path], None]:
    rows = (
        f'<row r="1">{text("A1", "day")}{text("B1", "bare")}</row>'
        '<row r="2"><c r="A2" s="1"><v>46000</v></c><c r="B2"><v>46000</v></c></row>'
        '<row r="3"><c r="A3" s="1"><v>61.5</v></c></row>'
    )
    return with_sheet(rows, workbook=workbook(more=f'<workbookPr date1904="{base}"/>'))


# What a sheet holds has no time zone.
NOON_1900 = dt.datetime(1900, 3, 1, 12)  # noqa: DTZ001
NOON_1904 = dt.datetime(1904, 3, 2, 12)  # noqa: DTZ001
BLANKS = b" " * MEGABYTE
TEXTS = incompressible(40_000)
COMMENTS = (TEXTS[: 34 * 60].replace(b"<si><t>", b"<!--").replace(b"</t></si>", b"-->")) * 50
XLSX = [
    Hostile("a part of 1 GB of blanks", lambda p: book(p, sheet=streamed("", BLANKS, 1_024, "")), "grows", slow=True),
    Hostile("300 parts of 1 MB", with_parts({f"xl/media/{n}": BLANKS for n in range(300)}), "grows"),
    Hostile("sizes that lie", lying_sizes, "grows"),
    Hostile("entities in entities, in the sheet", entity_bomb("sheet"), "document type"),
    Hostile("entities in entities, in the list of sheets", entity_bomb("workbook"), "document type"),
    Hostile(
        "a document type in UTF-16",
        with_parts({"docProps/app.xml": '<!DOCTYPE a [<!ENTITY b "c">]><a/>'.encode("utf-16")}),
        "damaged",
    ),
    Hostile(
        "a document type between blocks",
        lambda p: book(p, sheet=[b"<a>" + TEXTS[: MEGABYTE - 4] + b"<", b"!DOCTYPE a>"]),
        "document type",
    ),
    Hostile("16,384 columns in a workbook", lambda p: book(p, sheet=cells_in_rows(16_384, 3)), "16384 columns", 1),
    Hostile("one cell at XFD1048576", far_out("XFD1048576"), "16384 columns", 1),
    Hostile("one cell at XFD1048576, written oddly", far_out("XFD1048576", "'"), "memory"),
    Hostile("one cell at GR1048576", far_out("GR1048576"), "down to row 1048576", 1_048_576),
    Hostile("one cell at A99999999", far_out("A99999999"), "more than 1048576 rows"),
    Hostile("one cell at C1048576, written oddly", far_out("C1048576", "'"), "memory"),
    Hostile("100 MB of shared texts", lambda p: shared_strings(p, TEXTS[: 34 * 700], 4_400), "64 MB"),
    Hostile("12 million empty shared texts", lambda p: shared_strings(p, b"<si/>" * 120_000, 100), "2000000 texts"),
    Hostile(
        "one text of 32,000 characters in 300,000 cells",
        lambda p: shared_strings(
            p, b"<si><t>" + b"x" * 32_000 + b"</t></si>", 1, cells_in_rows(3, 100_000, "<v>0</v>", ' t="s"')
        ),
        "memory",
    ),
    Hostile(
        "three million cells", lambda p: book(p, sheet=cells_in_rows(4, 749_990)), rows=[(2, [1.0] * 4)], slow=True
    ),
    Hostile("five million cells", lambda p: book(p, sheet=cells_in_rows(100, 50_000)), "3000000 cells", slow=True),
    Hostile(
        "300,000 elements inside each other",
        lambda p: book(
            p,
            sheet=streamed(f'<worksheet xmlns="{MAIN}"><sheetData>', b"<a>" * 100_000, 3, "</sheetData></worksheet>"),
        ),
        "first row is empty",
    ),
    Hostile(
        "tags that never end",
        lambda p: book(p, sheet=b'<worksheet><f><c t="e"/>' + b'<c r="A1" ' * 100_000),
        "damaged",
    ),
    Hostile(
        "180 MB of comments",
        lambda p: book(p, sheet=streamed("", COMMENTS, 2_400, "")),
        "damaged",
        slow=True,
    ),
    Hostile(
        "160 MB of blanks with a format",
        lambda p: book(p, sheet=blanks_in_rows(130, 44_000)),
        rows=[],
        slow=True,
    ),
    Hostile(
        "a list of a million sheets",
        lambda p: book(p, workbook=workbook("".join(f'<sheet name="{n}" r:id="rId1"/>' for n in range(MILLION)))),
        "damaged",
        slow=True,
    ),
    Hostile("a cell of 40,000 characters", with_sheet(f'<row r="1">{text("A1", "x" * 40_000)}</row>'), "40000", 1),
    Hostile("header in the third row", with_sheet(f'<row r="3">{text("A3", "a")}</row>'), "first row is empty", 1),
    Hostile("no cell", with_sheet(""), "first row is empty", 1),
    Hostile("macros", with_parts({"xl/vbaProject.bin": b"\0"}), "macros"),
    Hostile(
        "macros by type alone",
        with_parts(
            {},
            types=types('<Override PartName="/x" ContentType="application/vnd.ms-excel.sheet.macroEnabled.main+xml"/>'),
        ),
        "macros",
    ),
    Hostile(
        "values from another file", with_parts({"xl/externalLinks/externalLink1.xml": "<externalLink/>"}), "other files"
    ),
    Hostile("another file inside", with_parts({"xl/embeddings/oleObject1.bin": OLE}), "other files inside"),
    Hostile("an archive inside", nested, "another file inside"),
    Hostile("2,500 parts", with_parts({f"xl/media/{n}": b"" for n in range(2_500)}), "parts inside"),
    Hostile(
        "100,000 parts",
        lambda p: put(p, {f"{n}": b"" for n in range(100_000)}, zipfile.ZIP_STORED),
        "parts inside",
        slow=True,
    ),
    Hostile("a part twice", twice_the_same_part, "damaged"),
    Hostile("cut short", cut_short, "damaged"),
    Hostile("a bit flipped", flipped, "damaged"),
    Hostile(
        "17 MB", with_parts({"xl/media/1": streamed("", random.Random(1).randbytes(MEGABYTE), 17, "")}), "larger than"
    ),
    Hostile("old binary workbook", raw(OLE + b"\0" * 2_000), "old workbook"),
    Hostile("an archive that is no workbook", lambda p: put(p, {"readme.txt": "a"}), "archive, not a workbook"),
    Hostile("an empty archive", lambda p: put(p, {}), "archive, not a workbook"),
    Hostile(
        "a document of another kind",
        lambda p: put(p, {"mimetype": "application/x", "content.xml": "<a/>"}),
        "another kind",
    ),
    Hostile("binary workbook", with_parts({"xl/workbook.bin": b"\x83\x01"}), "binary workbook"),
    Hostile("no list of links", lambda p: put(p, {"[Content_Types].xml": types(), "_rels/.rels": ROOT}), "damaged"),
    Hostile(
        "only hidden sheets",
        with_parts({}, workbook=workbook('<sheet name="Wishes" sheetId="1" state="hidden" r:id="rId1"/>')),
        "no visible sheet",
    ),
    Hostile(
        "two sheets of one name",
        with_parts(
            {}, workbook=workbook('<sheet name="a" sheetId="1" r:id="rId1"/><sheet name="a" sheetId="2" r:id="rId1"/>')
        ),
        "damaged",
    ),
    Hostile(
        "formulas",
        with_sheet(
            f'<row r="1">{text("A1", "a")}{text("B1", "b")}{text("C1", "c")}</row>'
            '<row r="2"><c r="A2"><f>1+1</f><v>2</v></c><c r="B2" t="str"><f>WEBSERVICE("http://x")</f><v>y</v></c>'
            '<c r="C2" t="e"><f>1/0</f><v>#DIV/0!</v></c></row>'
        ),
        rows=[(2, [2.0, "y", "#DIV/0!"])],
    ),
    Hostile(
        "days counted from 1900",
        days("0"),
        rows=[(2, [dt.date(2025, 12, 9), 46000.0]), (3, [NOON_1900, None])],
    ),
    Hostile(
        "days counted from 1904",
        days("1"),
        rows=[(2, [dt.date(2029, 12, 10), 46000.0]), (3, [NOON_1904, None])],
    ),
    Hostile(
        "blanks with a format, all over",
        with_sheet(GOOD_ROWS + '<row r="1048576" s="1"><c r="XFD1048576" s="1"/></row>'),
        rows=[(2, ["R1", 3.0])],
    ),
]
ALL = CSV + XLSX

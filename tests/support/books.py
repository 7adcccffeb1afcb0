"""Workbooks put together part by part, so that each part can be wrong by itself."""

from __future__ import annotations

import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
LINKS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
PACKAGE = "http://schemas.openxmlformats.org/package/2006"


def types(more: str = "") -> str:
    return (
        f'<Types xmlns="{PACKAGE}/content-types"><Default Extension="xml" ContentType="application/xml"/>'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Override PartName="/xl/workbook.xml" ContentType='
        '"application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>' + more + "</Types>"
    )


def workbook(sheets: str = '<sheet name="Wishes" sheetId="1" r:id="rId1"/>', before: str = "", more: str = "") -> str:
    return f'{before}<workbook xmlns="{MAIN}" xmlns:r="{LINKS}">{more}<sheets>{sheets}</sheets></workbook>'


def relations(*targets: str) -> str:
    each = "".join(
        f'<Relationship Id="rId{at}" Type="{LINKS}/{target.split("/")[0].rstrip("s").removesuffix(".xml")}"'
        f' Target="{target}"/>'
        for at, target in enumerate(targets, 1)
    )
    return f'<Relationships xmlns="{PACKAGE}/relationships">{each}</Relationships>'


def sheet(rows: str, more: str = "") -> str:
    return f'<worksheet xmlns="{MAIN}"><sheetData>{rows}</sheetData>{more}</worksheet>'


def text(ref: str, said: str) -> str:
    return f'<c r="{ref}" t="inlineStr"><is><t>{said}</t></is></c>'


ROOT = relations("xl/workbook.xml").replace('/xl"', '/officeDocument"')
GOOD_ROWS = (
    f'<row r="1">{text("A1", "reference")}{text("B1", "count")}</row>'
    f'<row r="2">{text("A2", "R1")}<c r="B2"><v>3</v></c></row>'
)
STYLES = (
    f'<styleSheet xmlns="{MAIN}"><fonts><font/></fonts><fills><fill/></fills><borders><border/></borders>'
    '<cellStyleXfs><xf/></cellStyleXfs><cellXfs><xf numFmtId="0"/><xf numFmtId="14" applyNumberFormat="1"/></cellXfs>'
    "</styleSheet>"
)

Content = str | bytes | Iterable[bytes]


def put(path: Path, parts: dict[str, Content], method: int = zipfile.ZIP_DEFLATED) -> None:
    """Write an archive, part by part and block by block."""
    with zipfile.ZipFile(path, "w", method, compresslevel=1) as archive:
        for name, content in parts.items():
            with archive.open(name, "w", force_zip64=False) as part:
                if isinstance(content, str | bytes):
                    part.write(content.encode() if isinstance(content, str) else content)
                else:
                    for block in content:
                        part.write(block)


def book(path: Path, parts: dict[str, Content] | None = None, **changed: Content) -> None:
    """Write a workbook that is in order but for the parts given."""
    named = {
        "types": "[Content_Types].xml",
        "root": "_rels/.rels",
        "workbook": "xl/workbook.xml",
        "relations": "xl/_rels/workbook.xml.rels",
        "sheet": "xl/worksheets/sheet1.xml",
        "styles": "xl/styles.xml",
    }
    good: dict[str, Content] = {
        "types": types(),
        "root": relations("xl/workbook.xml").replace('/xl"', '/officeDocument"'),
        "workbook": workbook(),
        "relations": relations("worksheets/sheet1.xml", "styles.xml"),
        "sheet": sheet(GOOD_ROWS),
        "styles": STYLES,
    }
    put(path, {**{named[key]: content for key, content in (good | changed).items()}, **(parts or {})})


def streamed(head: str, block: bytes, times: int, tail: str) -> Iterator[bytes]:
    yield head.encode()
    for _ in range(times):
        yield block
    yield tail.encode()


def cells_in_rows(columns: int, rows: int, cell: str = "<v>1</v>", kind: str = "") -> Iterator[bytes]:
    """Return the XML of a sheet full of the same cell, below a header."""
    names = [letters(column) for column in range(1, columns + 1)]
    head = "".join(text(f"{name}1", f"c{name}") for name in names)
    yield f'<worksheet xmlns="{MAIN}"><sheetData><row r="1">{head}</row>'.encode()
    row = "".join(f'<c r="{name}#"{kind}>{cell}</c>' for name in names)
    for number in range(2, rows + 1):
        yield (f'<row r="{number}">' + row.replace("#", str(number)) + "</row>").encode()
    yield b"</sheetData></worksheet>"


def blanks_in_rows(columns: int, rows: int) -> Iterator[bytes]:
    names = [letters(column) for column in range(1, columns + 1)]
    row = "".join(f'<c r="{name}#" s="1"/>' for name in names)
    yield f'<worksheet xmlns="{MAIN}"><sheetData><row r="1">{text("A1", "a")}</row>'.encode()
    for number in range(2, rows + 2):
        yield (f'<row r="{number}">' + row.replace("#", str(number)) + "</row>").encode()
    yield b"</sheetData></worksheet>"


def letters(column: int) -> str:
    found = ""
    while column:
        column, at = divmod(column - 1, 26)
        found = chr(65 + at) + found
    return found

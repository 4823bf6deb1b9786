"""Files that are no tables. Signatures: PNG ISO/IEC 15948 5.2, PDF ISO 32000-1 7.5.2, gzip RFC 1952 2.3.1, zip
APPNOTE 4.3.7, JSON RFC 8259; the others from memory."""

import io
import json
import zipfile

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.text.split import split


def archive(part):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        packed.writestr(part, "x")
    return stream.getvalue()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (archive("xl/workbook.xml"), r"log.csv:1: a spreadsheet \(a zip.*not a table of text; .*export the table as"),
        (archive("log.csv"), r"log.csv:1: a zip archive, not a table of text; found bytes 50 4b 03 04; .*unpack"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(500), r"a spreadsheet of the old binary kind"),
        (b"%PDF-1.7\n", r"a PDF document, not a table of text"),
        (b"\x89PNG\r\n\x1a\n" + bytes(9), r"a PNG image, not a table"),
        (b"\xff\xd8\xff\xe0", r"a JPEG image, not a table"),
        (b"\x1f\x8b\x08", r"a gzip archive, not a table"),
        (b"<html><body>", r"an HTML page, not a table of text; found '<html><body>'"),
        (b"\xef\xbb\xbf \r\n\t<!DOCTYPE html>\n<table>", r"an HTML page, not a table"),
        ("\ufeff<table><tr><td>1</td>".encode("utf-16"), r"an HTML page, not a table"),
        (b"<?xml version='1.0'?>\n<log><row/></log>", r"an XML file, not a table of text"),
        (json.dumps({"drive_v": [1, 2]}).encode(), r"a JSON file, not a table of text"),
        (json.dumps([[1, 2], [3, 4]], indent=1).encode(), r"a JSON file, not a table of text"),
    ],
)
def test_what_is_no_table(content, message):
    with pytest.raises(ReadingError, match=message):
        split("log.csv", content)


@pytest.mark.parametrize("first", ["[data]", "[1] first channel", "{lid open}", "BM log", "<5 mW range"])
def test_text_that_only_looks_like_another_format(first):
    grid = split("log.csv", f"{first}\ndrive_v,frequency_mhz\n1,46\n".encode())
    assert grid.header.cells == ("drive_v", "frequency_mhz")

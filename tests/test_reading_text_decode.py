"""Bytes to text. Byte order marks: The Unicode Standard, chapter 23.8, table 23-6 (from memory); one-byte codes:
ISO/IEC 8859-1 (micro 0xB5, degree 0xB0, plus-minus 0xB1) and its superset Windows-1252."""

import pytest

from aotf_lab.errors import ReadingError
from aotf_lab.reading.text.decode import decode

TEXT = "Time (s);Box temperature (°C);Diffracted (µW)\n0,0;21,8;412,3\n"


@pytest.mark.parametrize(
    ("mark", "codec", "name"),
    [
        (b"\xef\xbb\xbf", "utf-8", "UTF-8"),
        (b"\xff\xfe", "utf-16-le", "UTF-16-LE"),
        (b"\xfe\xff", "utf-16-be", "UTF-16-BE"),
        (b"\xff\xfe\x00\x00", "utf-32-le", "UTF-32-LE"),
    ],
)
def test_a_byte_order_mark_names_the_encoding(mark, codec, name):
    assert decode("log.csv", mark + TEXT.encode(codec)) == (TEXT, name, "byte order mark")


@pytest.mark.parametrize(
    ("codec", "name", "evidence"),
    [
        ("utf-8", "UTF-8", "well-formed UTF-8"),
        ("utf-16-le", "UTF-16-LE", "every other byte is NUL"),
        ("utf-16-be", "UTF-16-BE", "every other byte is NUL"),
        ("latin-1", "Windows-1252", "make sense in Windows-1252 and Latin-1: ° µ"),
    ],
)
def test_without_a_mark_the_bytes_decide(codec, name, evidence):
    text, encoding, said = decode("log.csv", TEXT.encode(codec))
    assert (text, encoding) == (TEXT, name)
    assert evidence in said


@pytest.mark.parametrize("word", ["Prüfung", "Étalon (µW)", "Ølampe", "± 0,4", "m²", "a – b", "1 000"])
def test_signs_of_the_bench_in_one_byte_each(word):
    assert decode("log.csv", f"{word};1\n".encode("cp1252"))[0] == f"{word};1\n"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"a\n64.\xb285\n", r"log.csv:2: text that is not UTF-8, and not plainly Windows-1252; found byte 0xb2"),
        (b"a,b\n1,\xae2\n", r"log.csv:2: .*found byte 0xae, which in Windows-1252 would be '®'"),
        (b"a\n1\n64.28\xb5\n", r"log.csv:3: .*found byte 0xb5"),
        (b"T (\xc2\xb0C)\n22\xb0C\n", r"log.csv:2: .*found byte 0xb0, while line 1 is UTF-8.*encoding = \"Latin-1\""),
        (b"a\r\n1\x81\r\n", r"log.csv:2: .*a byte that Windows-1252 does not have"),
    ],
)
def test_a_damaged_sign_is_not_taken_for_one_of_another_code(content, message):
    with pytest.raises(ReadingError, match=message):
        decode("log.csv", content)


def test_micro_behind_numbers_counts_when_it_stands_there_again():
    assert decode("log.csv", b"P (W)\n850\xb5\n851\xb5\n")[0] == "P (W)\n850µ\n851µ\n"


@pytest.mark.parametrize("sign", ["\x00", "\x07", "\x7f", "\x0b"])
def test_control_signs(sign):
    message = rf"log.csv:2: a control sign in the text; found U\+{ord(sign):04X} in UTF-8; allowed: printed signs"
    with pytest.raises(ReadingError, match=message):
        decode("log.csv", f"a\r1{sign}0\n".encode())


def test_the_layout_names_the_encoding():
    assert decode("log.csv", b"\xe6W\n", "cp437") == ("µW\n", "cp437", "stated in the layout")


@pytest.mark.parametrize("stated", ["klingon", "hex", "a\0"])
def test_an_encoding_that_is_not_known(stated):
    with pytest.raises(ReadingError, match=r"log.csv, layout: an encoding that is not known; found .*; allowed: UTF-8"):
        decode("log.csv", b"a\n", stated)


def test_bytes_that_are_not_of_the_stated_encoding():
    with pytest.raises(ReadingError, match=r"log.csv:2: text that is not UTF-8; found byte 0xb0; allowed: UTF-8 throu"):
        decode("log.csv", b"a\n22 \xb0C\n", "UTF-8")


def test_utf16_cut_inside_a_sign():
    with pytest.raises(ReadingError, match=r"log.csv:2: text that is not UTF-16-LE; found byte 0x32"):
        decode("log.csv", "\ufeffa\n1,2".encode("utf-16-le")[:-1])

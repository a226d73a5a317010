"""Short codes: the standard's check digits, slips of a hand noticed, addresses of any host."""

import pytest

from shared.codes.short import Short, WrongCheck, path_of, read_path, read_short, short_code

NUMBERS = [1, 9, 10, 96, 97, 98, 217, 970, 4711, 99_999, 1_234_567]


@pytest.mark.parametrize(
    ("text", "source"),
    [
        ("79444", "ISO/IEC 7064, example of MOD 97-10, as quoted from memory"),
        ("539007547034RF18", "ISO 11649's example of a reference, its head put last"),
        ("539007547034BE68", "ISO 13616's registry, example of Belgium, its head put last"),
    ],
)
def test_the_library_keeps_the_standard(text, source):
    from stdnum.iso7064 import mod_97_10

    assert mod_97_10.is_valid(text), source


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize("letter", "CLTSPB")
def test_letter_and_number_with_their_check_leave_one_divided_by_97(letter, number):
    code = short_code(letter, number)
    digits = "".join(str(int(sign, 36)) for sign in code.replace("-", ""))
    assert int(digits) % 97 == 1
    assert read_short(code) == Short(letter, number)


def slips(code):
    """Yield a code with one character wrong, and with two neighbours exchanged."""
    plain = code.replace("-", "")
    for at, sign in enumerate(plain):
        for other in "CLTSPB" if at == 0 else "0123456789":
            if other != sign:
                yield plain[:at] + other + plain[at + 1 :]
    for at in range(1, len(plain) - 1):
        if plain[at] != plain[at + 1]:
            yield plain[:at] + plain[at + 1] + plain[at] + plain[at + 2 :]


@pytest.mark.parametrize("number", NUMBERS)
def test_one_slip_is_always_noticed(number):
    for wrong in slips(short_code("C", number)):
        with pytest.raises(WrongCheck):
            read_short(wrong)


@pytest.mark.parametrize("typed", ["C10-{}", "c10{}", " C1O-{} ", "CI0 {}", "cl0-{}"])
def test_what_a_hand_types_for_the_same_code(typed):
    check = short_code("C", 10)[-2:]
    assert read_short(typed.format(check)) == Short("C", 10)


@pytest.mark.parametrize(
    "text", ["", "C", "CAN-17", "C0-44", "B26-00012 ", "4711", "Lot 7", "C²1-12"]
)
def test_other_texts_are_no_short_codes(text):
    try:
        assert read_short(text) is None
    except WrongCheck:
        assert text in ("C0-44", "B26-00012 ")


def test_a_label_is_known_whatever_host_it_was_printed_under():
    code = short_code("C", 217)
    for base in ("http://localhost:8000", "https://shop.example/inner", "HTTP://10.0.0.7"):
        assert read_path(path_of(f"{base}/c/{code}") or "") == Short("C", 217)
    assert path_of("ftp://shop.example/c/1") is None
    assert path_of("http://[bad/c/1") is None
    assert read_path("/elsewhere/4711") is None

"""The decoder against published bytes, and against everything else that can be in a file."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardware.reading import FaultReason
from hardware.scratchpad import Ambiguous, Bad, Good, crc8, decode, resolution_bits

# Read in the kernel's Documentation/w1/slaves/w1_therm.rst and drivers/w1/slaves/w1_therm.c.
KERNEL_EXAMPLE = "91 01 4b 46 7f ff 0f 10 25 : crc=25 YES\n91 01 4b 46 7f ff 0f 10 25 t=25062\n"


def text_of(hex_bytes: str, word: str = "YES") -> str:
    """The kernel's text for eight bytes, with a checksum that closes."""
    eight = bytes.fromhex(hex_bytes)
    shown = bytes((*eight, crc8(eight))).hex(" ")
    return f"{shown} : crc={shown[-2:]} {word}\n{shown} t=0\n"


def test_checksum_is_that_of_application_note_27() -> None:
    """The note's own example: the ROM 02 1C B8 01 00 00 00 ends in A2, with these steps on the way."""
    rom = bytes.fromhex("021cb801000000")
    steps = [crc8(rom[:length]) for length in range(1, 8)]
    assert bytes(steps).hex(" ") == "bc af 1e dc f4 15 a2"


def test_checksum_of_the_power_on_scratchpad() -> None:
    """Bytes reported from real chips (w1thermsensor issue 75): 50 05 4b 46 7f ff 0c 10 closes with 1c."""
    assert crc8(bytes.fromhex("5005 4b46 7fff 0c10")) == 0x1C


@given(st.binary(min_size=0, max_size=20))
def test_checksum_over_data_and_its_checksum_is_zero(data: bytes) -> None:
    """The property that Application Note 27 states for receivers."""
    assert crc8(data + bytes((crc8(data),))) == 0


# Temperature/data relation of the DS18B20's data sheet, table 1, as public drivers quote it.
@pytest.mark.parametrize(
    ("low", "high", "celsius"),
    [
        ("d0", "07", 125.0),
        ("91", "01", 25.0625),
        ("a2", "00", 10.125),
        ("08", "00", 0.5),
        ("00", "00", 0.0),
        ("f8", "ff", -0.5),
        ("5e", "ff", -10.125),
        ("6f", "fe", -25.0625),
        ("90", "fc", -55.0),
    ],
)
def test_bytes_mean_what_the_data_sheet_says(low: str, high: str, celsius: float) -> None:
    """Positive, zero and negative temperatures of that table, from the bytes alone (t= is wrong on purpose)."""
    verdict = decode(text_of(f"{low} {high} 4b 46 7f ff 0f 10"))
    assert isinstance(verdict, Good)
    assert verdict.celsius == celsius


def test_the_kernels_own_example_is_a_good_reading() -> None:
    """The two lines that the kernel's documentation shows."""
    assert decode(KERNEL_EXAMPLE) == Good(25.0625, bytes.fromhex("91014b467fff0f1025"))


def test_a_real_85_is_a_reading_and_a_power_on_85_is_not() -> None:
    """Byte 6 tells them apart on a genuine chip; bd and 1c are the checksums of those bytes."""
    real = decode("50 05 4b 46 7f ff 10 10 bd : crc=bd YES\n50 05 4b 46 7f ff 10 10 bd t=85000\n")
    power_on = decode("50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n50 05 4b 46 7f ff 0c 10 1c t=85000\n")
    assert isinstance(real, Good)
    assert real.celsius == 85.0
    assert isinstance(power_on, Ambiguous)
    assert power_on.is_power_on_on_a_genuine_chip


NINE_ZEROS = "00 00 00 00 00 00 00 00 00"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", FaultReason.EMPTY),
        (f"{NINE_ZEROS} : crc=00 YES\n{NINE_ZEROS} t=0\n", FaultReason.ALL_ZERO),
        (f"{NINE_ZEROS} : crc=00 NO\n{NINE_ZEROS} t=0\n", FaultReason.ALL_ZERO),
        (text_of("ff 07 4b 46 7f ff 0c 10"), FaultReason.LOW_POWER),
        (text_of("21 f9 4b 46 7f ff 0f 10"), FaultReason.OUT_OF_RANGE),
        (text_of("d1 07 4b 46 7f ff 0f 10"), FaultReason.OUT_OF_RANGE),
        (KERNEL_EXAMPLE.replace("YES", "NO"), FaultReason.BAD_CRC),
        (KERNEL_EXAMPLE.replace("91 01", "91 02"), FaultReason.BAD_CRC),
        (" ".join(["ff"] * 9) + " : crc=c9 NO\n" + " ".join(["ff"] * 9) + " t=-62\n", FaultReason.BAD_CRC),
        (" ".join(["ff"] * 9) + " : crc=ff YES\n" + " ".join(["ff"] * 9) + " t=-62\n", FaultReason.BAD_CRC),
        (KERNEL_EXAMPLE[:41], FaultReason.MALFORMED),
        (KERNEL_EXAMPLE[:50], FaultReason.MALFORMED),
        (KERNEL_EXAMPLE.replace("t=25062", "t="), FaultReason.MALFORMED),
        (
            KERNEL_EXAMPLE.replace("91 01 4b 46 7f ff 0f 10 25 t", "90 01 4b 46 7f ff 0f 10 25 t"),
            FaultReason.MALFORMED,
        ),
        ("91 01 4b 46 7f ff 0f 10 : crc=25 YES\n91 01 t=25062\n", FaultReason.MALFORMED),
        ("25062\n", FaultReason.MALFORMED),
        ("-5\n", FaultReason.MALFORMED),
    ],
)
def test_each_failure_is_named_and_never_a_temperature(text: str, reason: FaultReason) -> None:
    """Every signature of a failed read, checksum right or wrong, word YES or NO."""
    verdict = decode(text)
    assert isinstance(verdict, Bad)
    assert verdict.reason is reason


def test_a_checksum_is_computed_even_if_the_kernel_says_yes() -> None:
    """A wrong last byte under the word YES: libraries that trust the word report 25.06 °C here."""
    verdict = decode(KERNEL_EXAMPLE.replace("25 : crc=25", "26 : crc=26").replace("25 t=", "26 t="))
    assert isinstance(verdict, Bad)
    assert verdict.reason is FaultReason.BAD_CRC


@given(st.text(max_size=120))
def test_no_text_is_too_strange_to_be_judged(text: str) -> None:
    """Whatever is in the file, there is a verdict; and a strange one is never a temperature."""
    assert isinstance(decode(text), Bad)


@given(st.integers(-55 * 16, 125 * 16), st.integers(0, 71))
def test_a_flipped_bit_on_the_wire_is_never_a_temperature(sixteenths: int, bit: int) -> None:
    """CRC-8 sees every single flipped bit, also when the kernel says YES."""
    eight = sixteenths.to_bytes(2, "little", signed=True) + bytes.fromhex("4b467fff0f10")
    nine = bytearray((*eight, crc8(eight)))
    nine[bit // 8] ^= 1 << bit % 8
    shown = nine.hex(" ")
    assert isinstance(decode(f"{shown} : crc={shown[-2:]} YES\n{shown} t=0\n"), Bad)


def test_low_bits_of_a_short_conversion_are_not_taken_for_heat() -> None:
    """At 9 bit the three lowest bits are undefined: 25.0625 with noise in them is 25.0."""
    verdict = decode(text_of("97 01 4b 46 1f ff 09 10"))
    assert isinstance(verdict, Good)
    assert resolution_bits(verdict.raw) == 9
    assert verdict.celsius == 25.0

"""The simulation that runs the board's image, tried out by a small image of its own.

What it must do is the controller's data sheet ("8-bit AVR Microcontroller", ATmega328P), and that
of a cold-junction-compensated K converter with 32 bits and at most 100 ms a conversion.
"""

from __future__ import annotations

import subprocess
from itertools import pairwise
from pathlib import Path

import pytest

from tawny.core import messages as m
from tawny.errors import InputError, LinkError
from tawny.sim.chip import CYCLES_PER_MS, EEPROM_BYTES, HZ, Analogue, Chip, Misuse, Pin, ResetFlag
from tawny.sim.image import Image, read_image

HERE = Path(__file__).resolve().parent
UPPER, LOWER = 0x0154_1900, 0x1122_3344
LONG_MS = 300


@pytest.fixture(scope="session")
def probe(tmp_path_factory: pytest.TempPathFactory) -> Image:
    """The small image."""
    elf = tmp_path_factory.mktemp("probe") / "probe.elf"
    source = HERE / "avr" / "probe.c"
    include = f"-I{HERE.parent / 'firmware'}"
    command = ["avr-gcc", "-std=gnu11", "-mmcu=atmega328p", "-Os", "-DF_CPU=16000000UL"]
    command += ["-Wall", "-Wextra", "-Werror", include, str(source), "-o", str(elf)]
    subprocess.run(command, check=True)
    return read_image(elf)


@pytest.fixture
def chip(probe: Image) -> Chip:
    """A chip that has started."""
    chip = Chip(probe)
    run(chip, 1.0)
    return chip


def run(chip: Chip, ms: float) -> bytes:
    """Live so long; return what was said."""
    chip.run(chip.cycle + round(ms * CYCLES_PER_MS))
    return chip.said()


def ask(chip: Chip, letters: str, ms: float = 20.0) -> list[int]:
    """Send letters; return the numbers that come back."""
    assert chip.hear(letters.encode("ascii")) == len(letters)
    return [int(line, 16) for line in run(chip, ms).split()]


def misused(chip: Chip) -> dict[str, int]:
    """What the image must not have done."""
    counts = {what.name: chip.call("misused", what) for what in Misuse}
    return {name: count for name, count in counts.items() if count}


# The line.


def test_chip_line_sends_10_bits_a_byte(chip: Chip) -> None:
    """A byte takes ten bits of 16 x 26 cycles, and appears when it has left."""
    chip.hear(b"p")
    arrived = []
    while len(arrived) < len("000000ff\n"):
        chip.run(chip.cycle + 4)
        if chip.said():
            arrived.append(chip.cycle)
    gaps = [later - earlier for earlier, later in pairwise(arrived)]
    assert gaps == pytest.approx([10 * 16 * 26] * 8, abs=12)
    assert misused(chip) == {}


def test_chip_line_brings_a_byte_each_10_bits(chip: Chip) -> None:
    """The host's bytes come at 38400 baud, whatever the image does."""
    chip.hear(b"d" + b"q" * 20)
    lost = []
    while len(lost) < 15:
        chip.run(chip.cycle + 4)
        if chip.call("overruns") > len(lost):
            lost.append(chip.cycle)
    gaps = [later - earlier for earlier, later in pairwise(lost)]
    assert gaps == pytest.approx([10 * HZ / 38_400] * 14, abs=12)


def test_chip_receiver_is_three_bytes_deep(chip: Chip) -> None:
    """After 10 ms without a look two bytes and the shift register's are left, and DOR says so."""
    assert ask(chip, "d" + "0123456789", 40.0) == [0x1_0012]
    assert chip.call("overruns") == 7


def test_chip_fast_line_waits_for_the_image(chip: Chip) -> None:
    """A fast line loses nothing, however slow the image is."""
    chip.call("set_line", 160)
    chip.hear(b"d" + b"q" * 200)
    said = run(chip, 200.0)
    assert said == b"00000000\n" + b"q" * 200
    assert chip.call("overruns") == 0


def test_chip_breaks_bytes_of_another_rate(chip: Chip) -> None:
    """An image at another rate does not get through, and it is counted."""
    chip.call("poke", 0xC4, 12)  # UBRR0L: 76800
    chip.hear(b"q")
    assert run(chip, 5.0) not in {b"", b"q"}
    assert misused(chip) == {"LINE": 2}  # in and out


# The bus and the converters.


def test_chip_bus_takes_its_time(chip: Chip) -> None:
    """32 bits at 1 MHz take 32 us and little more, counted by the image in half microseconds."""
    (counts,) = ask(chip, "t")
    assert 64 <= counts <= 64 + 4 * 8


def test_chip_converters_are_read_apart(chip: Chip) -> None:
    """Each select has its own register; both at once fight, and it is counted."""
    chip.call("set_register", 0, UPPER)
    chip.call("set_register", 1, LOWER)
    run(chip, 150.0)
    assert ask(chip, "ul") == [UPPER, LOWER]
    assert misused(chip) == {}
    run(chip, 150.0)
    assert ask(chip, "b") == [UPPER & LOWER]
    assert misused(chip) == {"SELECT": 4}


def test_chip_converter_read_too_early_repeats_itself(chip: Chip) -> None:
    """A new value takes 100 ms undisturbed from the last read on; reading starts it anew."""
    chip.call("set_register", 0, UPPER)
    run(chip, 150.0)
    assert ask(chip, "u") == [UPPER]
    chip.call("set_register", 0, LOWER)
    for _ in range(5):
        assert ask(chip, "u", 90.0) == [UPPER]
    assert chip.call("early_reads", 0) == 5
    run(chip, 30.0)
    assert ask(chip, "u") == [LOWER]


def test_chip_converter_holds_what_its_conversion_found(chip: Chip) -> None:
    """What changes after a conversion has ended waits for the next one to end."""
    chip.call("set_register", 0, UPPER)
    run(chip, 150.0)
    ask(chip, "u", 5.0)
    run(chip, 110.0)
    chip.call("set_register", 0, LOWER)
    assert ask(chip, "u", 5.0) == [UPPER]


def test_chip_bus_faster_than_the_converters_is_misuse(chip: Chip) -> None:
    """8 MHz is beyond their 5: what comes is wrong, and counted."""
    chip.call("set_register", 0, UPPER)
    run(chip, 150.0)
    assert ask(chip, "fu") == [UPPER ^ 0xFFFF_FFFF]
    assert misused(chip) == {"BUS": 4}


# Pins.


def test_chip_shows_switches_at_their_pins(chip: Chip) -> None:
    """Levels as `hardware/pins.csv` has them, each switch at rest and moved."""
    chip.call("set_switches", m.IN_MAINS)
    (levels,) = ask(chip, "s")
    # PC1 ARM up, PC2 button's contact closed, PC3 mains and PC4 chain alive, PC5 contactor out;
    # PD2 mould closed, PD3 NEXT up.
    assert levels == 0b00_0010 << 8 | 0b1000
    for bit, pins in (
        (m.IN_OPEN, 0b0100),
        (m.IN_NEXT, 0b1000),
        (m.IN_ARM, 0b00_0010 << 8),
        (m.IN_BUTTON, 0b00_0100 << 8),
        (m.IN_THERMOSTAT, 0b01_0000 << 8),
        (m.IN_CONTACTOR, 0b10_0000 << 8),
    ):
        chip.call("set_switches", m.IN_MAINS | bit)
        assert ask(chip, "s") == [levels ^ pins]
    chip.call("set_switches", 0)  # without mains the chain is dead at both ends
    assert ask(chip, "s") == [levels ^ 0b01_1000 << 8]


def test_chip_measures_on_time_and_edges(chip: Chip) -> None:
    """The heater's pin for 30 ms, to the millisecond of the image's own count."""
    ask(chip, "o", 60.0)
    assert chip.call("on_cycles", Pin.HEATER_UPPER) / CYCLES_PER_MS == pytest.approx(30.0, abs=0.6)
    off, on = chip.history(Pin.HEATER_UPPER)
    assert off - on == chip.call("on_cycles", Pin.HEATER_UPPER)
    assert chip.call("edges", Pin.HEATER_UPPER) == 2
    assert not chip.call("level", Pin.HEATER_UPPER)


def test_chip_toggles_one_pin_by_its_input_bit(chip: Chip) -> None:
    """SBI on PIND turns that pin over and no other."""
    start, lower_and_lamp = 0b0000_1110, 0b0101_0000  # pull-ups and the idle line; PD6, PD4
    assert ask(chip, "i") == [start | lower_and_lamp]


def test_chip_reads_a_voltage(chip: Chip) -> None:
    """Half the supply is half the scale."""
    chip.call("set_analogue", Analogue.IDENTITY, 2500)
    assert ask(chip, "a") == [pytest.approx(511, abs=1)]


# The enable circuit.


@pytest.mark.parametrize("level", [False, True])
def test_chip_enable_circuit_lets_go_within_100_ms(chip: Chip, level: bool) -> None:  # noqa: FBT001 - a parameter
    """In while the train runs; out soon after its last edge, whatever level it stopped at."""
    ask(chip, "g", 200.0)
    assert chip.call("enabled")
    ask(chip, "x", 2.0)
    if bool(chip.call("level", Pin.CONTACTOR_TRAIN)) != level:
        ask(chip, "g", 0.0)
        while bool(chip.call("level", Pin.CONTACTOR_TRAIN)) != level:
            run(chip, 0.1)
        chip.call("poke", chip.image.symbols["train"], 0)
    last = chip.call("edge", Pin.CONTACTOR_TRAIN)
    run(chip, 100.0)
    assert bool(chip.call("level", Pin.CONTACTOR_TRAIN)) == level
    assert chip.call("edge", Pin.CONTACTOR_TRAIN) == last
    assert not chip.call("enabled")
    assert 0 < chip.call("enable_changed") - last < 100 * CYCLES_PER_MS


@pytest.mark.parametrize("clock", [7, 6, 2], ids=["62 Hz", "250 Hz", "8 kHz"])
def test_chip_enable_circuit_wants_its_own_rate(chip: Chip, clock: int) -> None:
    """A square wave that is much slower or faster pulls nothing in, nor does a held pin."""
    ask(chip, "y", 1.0)
    chip.call("store", 0xB1, clock)  # TCCR2B: timer 2 toggles the pin each 125 of its clocks
    run(chip, 1000.0)
    assert chip.call("edges", Pin.CONTACTOR_TRAIN) > 100
    assert not chip.call("enabled")
    assert chip.call("enable_changed") == 0


# EEPROM.


def test_chip_eeprom_takes_3_4_ms_a_byte(chip: Chip) -> None:
    """EEPE stays set so long, counted by the image; the byte is there, and kept by a reset."""
    (counts,) = ask(chip, "e")
    assert counts / 2000 == pytest.approx(3.4, abs=0.05)
    assert chip.eeprom[5] == 0x5A
    assert (chip.call("writes"), misused(chip)) == (1, {})
    chip.call("reset", ResetFlag.EXTERNAL)
    assert ask(chip, "p") == [0x5A]


def test_chip_eeprom_write_outlives_a_reset_but_not_the_power(chip: Chip) -> None:
    """A reset in the middle of a byte leaves it written, lost power leaves it erased."""
    ask(chip, "E", 2.0)
    assert chip.call("is_writing")
    chip.call("reset", ResetFlag.EXTERNAL)
    run(chip, 5.0)
    assert chip.eeprom[5] == 0x77
    ask(chip, "E", 2.0)
    chip.call("reset", ResetFlag.POWER)
    assert chip.eeprom[5] == 0xFF


def test_chip_counts_eeprom_read_while_it_is_written(chip: Chip) -> None:
    """What the data sheet forbids reads nothing new."""
    ask(chip, "w", 30.0)
    assert misused(chip) == {"EEPROM": 1}


def test_chip_loads_and_dumps_its_eeprom(chip: Chip) -> None:
    """Content goes in and comes out whole."""
    content = bytes(index * 7 & 0xFF for index in range(EEPROM_BYTES))
    chip.eeprom = content
    assert chip.eeprom == content
    assert ask(chip, "p") == [content[5]]
    with pytest.raises(ValueError, match="3"):
        chip.eeprom = b"abc"


# Resets and failures.


@pytest.mark.parametrize("flag", list(ResetFlag))
def test_chip_starts_by_cause(chip: Chip, flag: ResetFlag) -> None:
    """The image finds the cause; only power takes the content of RAM away."""
    ask(chip, "kO")
    assert chip.call("level", Pin.HEATER_UPPER)
    before = chip.cycle
    chip.call("reset", flag)
    assert not chip.call("level", Pin.HEATER_UPPER)
    assert chip.cycle == before
    (found,) = ask(chip, "c")
    assert found >> 8 == flag
    assert (found & 0xFF == 0x3C) == (flag is not ResetFlag.POWER)


def test_chip_watchdog_bites(chip: Chip) -> None:
    """A hung image is reset after 256 ms, pins and all, and finds the watchdog as the cause."""
    ask(chip, "kOgW", 200.0)
    assert chip.call("level", Pin.HEATER_UPPER)
    assert chip.call("resets") == 0
    run(chip, 100.0)
    assert chip.call("resets") == 1
    assert not chip.call("level", Pin.HEATER_UPPER)
    assert ask(chip, "c") == [ResetFlag.WATCHDOG << 8 | 0x3C]
    edges = chip.call("edges", Pin.CONTACTOR_TRAIN)
    ask(chip, "g", 50.0)  # the same pin is driven again after the reset, and seen
    assert chip.call("edges", Pin.CONTACTOR_TRAIN) > edges + 90


def test_chip_line_goes_on_through_a_watchdog_reset(chip: Chip) -> None:
    """A reset in the middle of a long line costs what came meanwhile, not what is still to come."""
    ask(chip, "W", 1.0)
    while chip.call("resets") == 0:
        if chip.call("unheard") < 40:
            chip.hear(b"q" * 40)
        chip.run(chip.cycle + CYCLES_PER_MS)
    waiting = chip.call("unheard")
    assert waiting > 20
    assert run(chip, 30.0).count(b"q") == pytest.approx(waiting, abs=2)


@pytest.mark.parametrize(("letter", "what"), [("z", "sleeps"), ("j", "crashed")])
def test_chip_tells_of_an_image_that_failed(chip: Chip, letter: str, what: str) -> None:
    """Asleep with interrupts off, or outside the flash: an error, and every time again."""
    with pytest.raises(LinkError, match=what):
        ask(chip, letter, LONG_MS)
    with pytest.raises(LinkError, match=what):
        run(chip, 1.0)


def test_chip_shows_fuses(chip: Chip) -> None:
    """High and extended fuse bytes as delivered, and as set."""
    assert ask(chip, "F") == [0xC7FC]
    chip.call("set_fuse", 3, 0xD9)
    assert ask(chip, "F") == [0xD9FC]
    assert ask(chip, "p") == [0xFF]  # and the flash is back


def test_chip_flips_a_bit_of_flash(chip: Chip, probe: Image) -> None:
    """A turned bit changes what runs: the first jump then leaves the flash."""
    assert probe.flash[0:2] == b"\x0c\x94"
    chip.call("flip_flash", 3, 0x7F)
    chip.call("reset", ResetFlag.EXTERNAL)
    with pytest.raises(LinkError, match="crashed"):
        run(chip, LONG_MS)


def test_chip_marks_what_ran(probe: Image) -> None:
    """With coverage on each executed word is marked, and no other."""
    chip = Chip(probe)
    chip.call("cover", 1)
    run(chip, 5.0)
    covered = chip.call("covered")
    ran = [bool(covered[address // 2]) for address in (0, probe.symbols["main"])]
    assert ran == [True, True]
    assert not covered[probe.symbols["__vector_7"] // 2]


def test_chip_peeks_and_pokes_by_name(chip: Chip) -> None:
    """Variables of the image by their symbols."""
    run(chip, 100.0)
    assert 0x100 <= chip.image.symbols["probe_ticks"] < 0x900
    ticks = chip.peek("probe_ticks", 2)
    assert ticks == pytest.approx(202, abs=3)
    chip.poke("probe_ticks", 1000, 2)
    run(chip, 10.0)
    assert chip.peek("probe_ticks", 2) == pytest.approx(1020, abs=1)
    assert chip.run_to("main", chip.cycle + 100) is False


def test_image_refuses_what_is_none(tmp_path: Path) -> None:
    """One sentence for a missing file, text, a short file and a program of this machine."""
    missing = tmp_path / "missing.elf"
    text = tmp_path / "text.elf"
    text.write_text("hello")
    for path in (missing, text, Path("/proc/self/exe")):
        with pytest.raises(InputError, match=str(path)):
            read_image(path)


def test_image_refuses_every_cut(probe: Image, tmp_path: Path) -> None:
    """A file that ends too early is refused, never a crash, wherever it was cut."""
    whole = probe.path.read_bytes()
    part = tmp_path / "part.elf"
    for length in (*range(0, len(whole), 37), *range(len(whole) - 100, len(whole))):
        part.write_bytes(whole[:length])
        with pytest.raises(InputError):
            read_image(part)

"""What each part takes at one RF power, against published volts and the definitions."""

from __future__ import annotations

import pytest

from aotf_lab.planning.damage import BenchLoad, Strain, strains
from aotf_lab.reading import Scope
from aotf_lab.reading.session_limits import CounterLimits, DamageLimits, GeneratorFacts, OscillatorFacts, ScopeLimits
from tests.house import published


def named(name, load, scope=None, limits=None, *, floor=False):
    found = strains(load, scope or Scope(), limits or DamageLimits())
    return next(s for s in found if s.part == name and s.floor == floor)


@pytest.mark.parametrize("row", published("rf_50ohm.csv"))
def test_volts_at_50_ohm(row):
    # computed from V = sqrt(50 P), and read on a university's conversion table for R = 50 ohm (rf_50ohm.csv)
    scope = Scope(pad_db=0.0, probe=1.0, load_ohm=50.0, input_ohm=50.0)
    strain = named("scope input", BenchLoad(float(row["P_W"])), scope)
    assert strain.high == pytest.approx(float(row["Vrms"]), rel=1e-5)
    assert strain.low == strain.high
    assert strain.watts == pytest.approx(float(row["P_W"]), rel=1e-5)


@pytest.mark.parametrize("db", [10, 20, 30, 40])
def test_behind_a_pad_stand_the_volts_of_as_many_db_less(db):
    rows = {int(row["dBm"]): row for row in published("rf_50ohm.csv")}
    load = BenchLoad(float(rows[40]["P_W"]))
    limits = DamageLimits(counter=CounterLimits(pad_db=float(db), input_ohm=50.0))
    expected = float(rows[40 - db]["Vrms"])
    scope = Scope(pad_db=float(db), probe=1.0, load_ohm=50.0, input_ohm=50.0)
    assert named("scope input", load, scope).high == pytest.approx(expected, rel=1e-5)
    assert named("counter input", load, scope, limits).high == pytest.approx(expected, rel=1e-5)
    # what the pad does not pass on, it keeps: 10 W less the watts of the row
    assert named("pad", load, scope).high == pytest.approx(10 - float(rows[40 - db]["P_W"]), rel=1e-5)


def test_an_open_end_behind_a_pad_stands_at_twice_the_volts():
    # definition: the voltage at an open end of a line is twice that of the wave
    load = BenchLoad(1.0)
    matched = named("scope input", load, Scope(pad_db=30.0, probe=1.0, input_ohm=50.0))
    opened = named("scope input", load, Scope(pad_db=30.0, probe=1.0, input_ohm=1e6))
    unknown = named("scope input", load, Scope(pad_db=30.0, probe=1.0))
    assert opened.high == pytest.approx(2 * matched.high)
    assert (unknown.low, unknown.high) == (matched.high, opened.high)
    assert opened.watts is None


def test_a_probe_divides_and_an_unknown_one_may_not():
    load = BenchLoad(1.0)
    straight = named("scope input", load, Scope(pad_db=0.0, probe=1.0, input_ohm=1e6)).high
    assert named("scope input", load, Scope(pad_db=0.0, probe=10.0, input_ohm=1e6)).high == pytest.approx(straight / 10)
    unknown = named("scope input", load, Scope(pad_db=0.0, input_ohm=1e6))
    assert (unknown.low, unknown.high) == (0.0, straight)


def test_the_usual_limit_stands_in_for_50_ohm_only():
    load = BenchLoad(1.0)  # 7.07 Vrms
    usual = named("scope input", load, Scope(pad_db=0.0, probe=1.0, input_ohm=50.0))
    assert (usual.limit, usual.assumed, usual.verdict) == (5.0, True, "beyond")
    opened = named("scope input", load, Scope(pad_db=0.0, probe=1.0, input_ohm=1e6))
    assert (opened.limit, opened.assumed, opened.verdict) == (None, False, "not stated")
    own = DamageLimits(ScopeLimits(max_input_vrms=300.0))
    opened = named("scope input", load, Scope(pad_db=0.0, probe=1.0, input_ohm=1e6), own)
    assert (opened.limit, opened.verdict) == (300.0, "within")


@pytest.mark.parametrize(
    ("low", "high", "limit", "floor", "verdict"),
    [
        (1.0, 1.0, 1.0, False, "within"),
        (1.01, 1.01, 1.0, False, "beyond"),
        (0.5, 2.0, 1.0, False, "not stated"),
        (1.5, 2.0, 1.0, False, "beyond"),
        (0.5, 0.9, None, False, "not stated"),
        (None, None, 1.0, False, "not stated"),
        (-0.1, -0.1, 0.0, True, "beyond"),
        (0.0, 0.0, 0.0, True, "within"),
        (-0.1, -0.1, -0.5, True, "within"),
    ],
)
def test_verdicts(low, high, limit, floor, verdict):
    assert Strain("part", low, high, "V", limit, "[part] key", "how", floor=floor).verdict == verdict


@pytest.mark.parametrize(
    ("value", "limit", "floor", "verdict"),
    [
        (9.970, 10.0, False, "within"),
        (9.990, 10.0, False, "at the limit"),  # may be above it
        (10.008, 10.0, False, "at the limit"),
        (10.021, 10.0, False, "beyond"),
        (0.0, 0.0, True, "within"),  # where a sweep begins
        (-0.019, 0.0, True, "at the limit"),
        (-0.021, 0.0, True, "beyond"),
    ],
)
def test_a_reading_that_cannot_be_told_from_its_limit(value, limit, floor, verdict):
    # by hand: u = 10 mV, so that k = 2 (GUM, JCGM 100:2008, 6.3.3: about 95 %) reaches 20 mV
    strain = Strain("part", value, value, "V", limit, "[part] key", "how", floor=floor, u=0.010)
    assert strain.verdict == verdict


@pytest.mark.parametrize(
    ("value", "limit", "floor", "u", "verdict"),
    [
        (10.9, 10.0, False, 0.545, "beyond"),  # a meter good to 5 % is no excuse: 95 % sure to be above
        (10.11, 10.0, False, 0.6, "beyond"),
        (10.09, 10.0, False, 0.6, "at the limit"),  # by 1 % at the most
        (9.0, 10.0, False, 0.6, "at the limit"),  # may be above it: the cautious side knows no such end
        (-0.06, 0.0, True, 0.2, "beyond"),
        (-0.04, 0.0, True, 0.2, "at the limit"),
    ],
)
def test_a_poor_meter_excuses_little(value, limit, floor, u, verdict):
    # 1 % of the limit, 50 mV below a floor: common practice, no source
    assert Strain("part", value, value, "V", limit, "[part] key", "how", floor=floor, u=u).verdict == verdict


def test_the_u_of_control_volts_reaches_their_own_ends_alone():
    limits = DamageLimits(oscillator=OscillatorFacts(0.0, 10.0), generator=GeneratorFacts(10.008))
    load = BenchLoad(None, (-0.008, 10.008), None, (0.010, 0.010))
    ends = [named("oscillator input", load, limits=limits, floor=floor) for floor in (True, False)]
    assert [end.verdict for end in ends] == ["at the limit"] * 2
    # the generator's highest setting is no reading: above is above
    assert named("oscillator input (generator)", load, limits=limits).verdict == "beyond"


def test_a_generator_reaches_both_ends_and_its_own_ohms_divide():
    limits = DamageLimits(
        oscillator=OscillatorFacts(input_min_v=0.0, input_max_v=9.0, input_ohm=950.0), generator=GeneratorFacts(10.0)
    )
    low = named("oscillator input (generator)", BenchLoad(), limits=limits, floor=True)
    high = named("oscillator input (generator)", BenchLoad(), limits=limits)
    # by hand: 10 V x 950 / (950 + 50) = 9.5 V
    assert (low.low, low.verdict) == (pytest.approx(-9.5), "beyond")
    assert (high.high, high.verdict) == (pytest.approx(9.5), "beyond")
    open_circuit = DamageLimits(oscillator=OscillatorFacts(input_max_v=15.0), generator=GeneratorFacts(10.0))
    high = named("oscillator input (generator)", BenchLoad(), limits=open_circuit)
    assert (high.high, high.verdict) == (10.0, "within")


def test_those_beyond_come_first():
    limits = DamageLimits(ScopeLimits(pad_rated_w=0.5), generator=GeneratorFacts(5.0))
    found = strains(BenchLoad(1.0, (0.5, 13.0), 2.0), Scope(pad_db=30.0, probe=1.0, input_ohm=50.0), limits)
    assert [s.part for s in found if s.verdict == "beyond"] == ["pad", "oscillator input (generator)"]
    assert [s.verdict == "beyond" for s in found] == [True] * 2 + [False] * (len(found) - 2)
    assert [s.part for s in found[2:4]] == ["scope input", "counter input"]

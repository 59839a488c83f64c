"""Each extension keeps the rules of its contract."""

from dewmargin_example import OpenPans, QuietNights, VerdictNote

from dewmargin import testing


def test_quiet_nights() -> None:
    testing.check_strategy(QuietNights(name="quiet", day_rh=0.4, night_rh=0.3))


def test_open_pans() -> None:
    testing.check_equipment(OpenPans(name="pans", area_m2=0.5))


def test_verdict_note() -> None:
    testing.check_report(VerdictNote())

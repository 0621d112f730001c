"""Pages of the help without a window: links, topics, numbers, faults to try, licences."""

import re
import tomllib
from importlib import metadata
from pathlib import Path

import numpy as np
import pytest

from pilotsignal.measure import measure
from pilotsignal.notices import CODES
from pilotsignal.synth import Circuit, Sampling, synthesise
from rungbench import __version__
from rungbench.desktop.help_licences import components, licence_page, licence_texts
from rungbench.desktop.help_pages import (
    ABOUT,
    CHECK_TOPICS,
    TITLES,
    TOPICS,
    Place,
    exists,
    headings,
    page_text,
    search,
    slug,
    topic,
)
from rungbench.desktop.help_waves import FAULTS, LEVEL_FAULTS, SPAN_US, levels, wave
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.safety import ALARM
from rungbench.qualify.scope import CANNOT_PROVE
from rungbench.simulated.traits import Traits, traits_of

LINK = re.compile(r"(?<!!)\[[^\]]*\]\(([^)]+)\)")
PICTURE = re.compile(r"!\[[^\]]*\]\(picture:([^)]+)\)")
FENCE = re.compile(r"^````.*?^````", re.MULTILINE | re.DOTALL)


@pytest.mark.parametrize("page", list(TITLES))
def test_every_link_leads_somewhere(page: str) -> None:
    text = page_text(page)
    assert text.startswith("# ")
    targets = LINK.findall(text)
    assert [target for target in targets if not exists(Place.of(target))] == []
    assert "://" not in "".join(targets)  # nothing is fetched from anywhere


def test_a_page_that_is_none() -> None:
    assert not exists(Place("other"))
    assert not exists(Place("pilot", "no-such-heading"))
    assert not exists(Place("licence/other"))
    with pytest.raises(KeyError):
        page_text("other")


def test_every_page_is_reached_from_the_first() -> None:
    reached, waiting = set(), ["start"]
    while waiting:
        page = waiting.pop()
        if page not in reached and page in TITLES:
            reached.add(page)
            waiting += [Place.of(target).page for target in LINK.findall(page_text(page))]
    assert reached == set(TITLES)


def test_every_quantity_is_explained() -> None:
    capture, _ = synthesise(Circuit().wave(1000.3, 266.0), Sampling(1e-5, 5000, seed=1))
    names = set(measure(capture).quantities())
    assert len(names) > 9
    assert names <= set(TOPICS)
    for name in TOPICS:
        assert exists(topic(name)), name
    assert topic("unheard-of") == Place("start")


def test_every_check_is_explained() -> None:
    assert set(CHECK_KINDS) <= set(CHECK_TOPICS)
    assert set(CHECK_TOPICS) - set(CHECK_KINDS) == {"outlet-dead"}  # made by the runner itself
    for kind in CHECK_TOPICS:
        assert exists(topic(kind)), kind


def test_every_notice_is_explained_with_what_to_do() -> None:
    text = page_text("notices")
    assert set(headings("notices")) == set(CODES)
    assert text.count("**What to do:**") == len(CODES)
    for code in CODES:
        assert topic(code) == Place("notices", code)
        assert exists(topic(code))


def test_pictures_in_pages_are_those_there_are() -> None:
    used = {name for page in TITLES for name in PICTURE.findall(page_text(page))}
    assert used == {*FAULTS, *LEVEL_FAULTS, "circuit", "divider", "states", "period", "guarded"}


# Numbers --------------------------------------------------------------------------------------


def test_sums_on_the_page_come_out() -> None:
    """Each sum such as ``0.70 V + 11.30 V x 2740 / 3740 = 8.98 V`` is worked out again."""
    sums = re.findall(
        r"0\.70 V \+ 11\.30 V x ([\d.]+) / ([\d.]+) =\s+\**([\d.]+) V", page_text("readings")
    )
    assert len(sums) == 3
    for top, bottom, result in sums:
        assert float(bottom) - float(top) == pytest.approx(1000.0)
        places = len(result.partition(".")[2])
        assert round(0.70 + 11.30 * float(top) / float(bottom), places) == float(result)


def test_pictures_show_what_a_hand_works_out() -> None:
    # IEC 61851-1:2017 Tables A.2 and A.3 with 0.70 V: 12, 8.979, 5.995, 2.929 V.
    sound = levels(LEVEL_FAULTS["source-high"]().sound.source)
    assert sound == pytest.approx((12.0, 8.979, 5.995, 2.929), abs=0.001)
    # 0.70 V + 11.30 V x 2740 / 3940; 0.70 V + 12.30 V x 2740 / 3740
    assert levels(LEVEL_FAULTS["source-high"]().faulty.source)[1] == pytest.approx(8.558, abs=1e-3)
    assert levels(LEVEL_FAULTS["rail-high"]().faulty.source)[1] == pytest.approx(9.711, abs=1e-3)
    # -12 V x 2740 / 3740; 12 V x 80 / 1080
    no_diode, short = wave(FAULTS["no-diode"]().faulty), wave(FAULTS["short"]().faulty)
    assert no_diode.volts.min() == pytest.approx(-8.791, abs=0.001)
    assert short.volts.max() == pytest.approx(0.889, abs=0.001)
    assert wave(FAULTS["rail-low"]().faulty).volts.min() == pytest.approx(-6.0, abs=0.001)
    assert np.ptp(wave(FAULTS["no-pwm"]().faulty).volts) == 0.0


@pytest.mark.parametrize(("name", "share"), [("long-pulse", 0.2967), ("five-percent", 0.05)])
def test_pulses_in_pictures_have_their_length(name: str, share: float) -> None:
    found = wave(FAULTS[name]().faulty)
    one = (found.times_us >= 100.0) & (found.times_us < 1100.0)
    assert np.mean(found.volts[one] > 0.0) == pytest.approx(share, abs=0.004)
    assert found.times_us[-1] == SPAN_US


def test_numbers_that_the_safety_page_shares() -> None:
    text = " ".join(page_text("safety").split())
    assert ALARM in text
    assert all(one in text for one in CANNOT_PROVE)
    for must in ("Local codes and licensed practice prevail", "RCD", "installation tester"):
        assert must in text
    assert "no certification" in text


def test_faults_to_try_are_addresses_that_work() -> None:
    urls = re.findall(r"`(sim://[^`]+)`", page_text("faults"))
    assert len(urls) > 10
    for url in urls:
        assert traits_of(url) != Traits(), url


# Search ---------------------------------------------------------------------------------------


def test_search_finds_all_words_in_any_order() -> None:
    places = {str(hit.place) for hit in search("resistor SOURCE")}
    assert {"faults#source-resistor-wrong", "readings#source-resistance"} <= places
    assert search("no such words anywhere xyzzy") == ()
    assert search("   ") == ()
    assert all(exists(hit.place) for hit in search("pilot"))


def test_slugs() -> None:
    assert slug("Why 8.98 V") == "why-8-98-v"
    assert slug("no-pwm") == "no-pwm"


# Licences -------------------------------------------------------------------------------------


def test_about_names_version_and_every_dependency(root: Path) -> None:
    text = page_text(ABOUT)
    assert f"Rungbench {__version__}" in text
    assert "GNU Lesser General Public License, version 3" in text
    assert "[[" not in text
    project = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))
    asked = [re.split(r"[<>=\[; ]", line)[0] for line in project["project"]["dependencies"]]
    shown = {re.sub(r"[-_.]+", "-", one.name).lower() for one in components()}
    assert {re.sub(r"[-_.]+", "-", name).lower() for name in asked} <= shown
    assert "shiboken6" in shown  # asked for by another package
    for one in components():
        assert one.licence
        assert one.version == metadata.version(one.name)


@pytest.mark.parametrize("name", ["numpy", "scipy", "GTC", "reportlab", "pyqtgraph", "rungbench"])
def test_licences_that_are_shipped_are_shown(name: str) -> None:
    texts = list(licence_texts(name))
    assert texts
    page = licence_page(name)
    assert len(FENCE.findall(page)) == len(texts)
    for _, text in texts:
        assert text.rstrip() in page


def test_licences_that_are_not_shipped_by_their_packages() -> None:
    page = licence_page("PySide6_Essentials")
    assert "licence/LGPL-3.0" in page
    assert "licence/GPL-3.0" in page
    assert "GNU LESSER GENERAL PUBLIC LICENSE" in licence_page("LGPL-3.0")
    assert "GNU GENERAL PUBLIC LICENSE" in licence_page("GPL-3.0")
    assert "Bitstream" in licence_page("typeface-dejavu")
    assert "Apache License" in licence_page("typeface-droid")

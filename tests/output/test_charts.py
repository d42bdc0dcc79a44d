"""Pictures of runs: they read without colour, for colour-blind eyes and for ears, and hold nothing a page refuses."""

import xml.etree.ElementTree as ET
from itertools import combinations

import numpy as np
import pytest

from journal.analysis import diagnose
from journal.analysis.findings import Standing
from journal.facts import Cut, Engine, RunKind, RunStarted
from journal.output.chart_parts import LOOKS, mark
from journal.output.charts import charts_of, run_chart
from tests.analysis.arrange import SIX, idle, job_of, readings

SVG = "{http://www.w3.org/2000/svg}"

# Machado, Oliveira and Fernandes, A Physiologically-based Model for Simulation of Color Vision Deficiency (2009),
# matrices for severity 1.0, on linear RGB (figures from memory).
BLINDNESS = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def a_whole_job():
    runs = [RunStarted(RunKind.IDLE), *readings(30.0, {1: 37.5, 2: 37.5, 3: 30.0, 4: 37.5, 5: 37.5, 6: 37.5})]
    runs += [RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6)), *readings(60.0, {1: 120.0, 2: 120.0, 3: 60.0})]
    for mpa in (6, 18):
        runs += [RunStarted(RunKind.IDLE, pressure_value=mpa), *readings(30.0, dict.fromkeys(SIX.numbers, 36.0))]
    runs += [RunStarted(RunKind.IDLE, after_repair=True), *readings(29.0, dict.fromkeys(SIX.numbers, 34.8))]
    return job_of(SIX, *runs)


def test_every_picture_is_sound_svg_with_a_title_and_a_description_and_no_styles_or_scripts():
    job = a_whole_job()
    charts = charts_of(job, diagnose(job))
    assert len(charts) == 5 + 3
    ids = []
    for chart in charts:
        root = ET.fromstring(chart)
        assert root.get("role") == "img" and root.get("viewBox")
        title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
        assert title is not None and title.text
        assert description is not None and description.text and "cylinder 3" in description.text
        assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
        ids += [title.get("id"), description.get("id")]
        for element in root.iter():
            assert element.tag not in (f"{SVG}script", f"{SVG}style")
            assert "style" not in element.attrib
            assert not [name for name in element.attrib if name.startswith("on")]
    assert len(set(ids)) == len(ids)


def test_the_text_alternative_says_every_cylinder_with_its_interval_and_standing():
    findings = idle(30.0, {1: 37.5, 2: 37.5, 3: 30.0, 4: 37.5, 6: 37.5})
    root = ET.fromstring(run_chart(findings.runs[0], SIX))
    said = root.find(f"{SVG}desc").text
    assert "cylinder 3 dead, share 0 % (0 % to" in said
    assert "no reading yet: 5" in said


def test_numbers_stay_inside_the_picture_for_any_engine():
    job = job_of(Engine(20), RunStarted(RunKind.IDLE), *readings(40, dict.fromkeys(range(1, 20), 42)), Cut(20, 900))
    root = ET.fromstring(run_chart(diagnose(job).runs[0], Engine(20)))
    _, _, width, height = map(float, root.get("viewBox").split())
    for element in root.iter():
        for name, most in (("x", width), ("x1", width), ("x2", width), ("cx", width), ("y", height), ("cy", height)):
            assert -1 <= float(element.get(name, 0)) <= most


def test_each_standing_has_a_mark_and_a_pattern_of_its_own():
    assert len({look.pattern for look in LOOKS.values()}) == len(Standing)
    shapes = {
        standing: mark(0, 0, standing).replace(LOOKS[standing].colour, "").replace(standing, "")
        for standing in Standing
    }
    assert len(set(shapes.values())) == len(Standing)


@pytest.mark.parametrize("kind", [None, *BLINDNESS])
def test_colours_stay_apart_for_colour_blind_eyes(kind):
    """CIE 1976 colour difference of at least 11 between any two, about five times what is just noticeable."""
    seen = {standing: _lab(_linear(look.colour), kind) for standing, look in LOOKS.items()}
    for a, b in combinations(seen, 2):
        assert np.linalg.norm(seen[a] - seen[b]) >= 11, (a, b, kind)


def _linear(colour):
    channels = np.array([int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def _lab(linear, kind):
    if kind is not None:
        linear = np.clip(np.array(BLINDNESS[kind]) @ linear, 0, 1)
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    ratio = to_xyz @ linear / np.array([0.95047, 1.0, 1.08883])
    f = np.where(ratio > 0.008856, np.cbrt(ratio), 7.787 * ratio + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])

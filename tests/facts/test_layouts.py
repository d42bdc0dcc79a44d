"""Engine layouts offered by shape."""

import pytest

from journal.errors import BadInput, WrongEngine
from journal.facts import Arrangement, Engine
from journal.facts.layouts import layout_names, layout_note, layout_of


def test_every_layout_offered_is_a_sound_engine_with_the_words_to_confirm_it():
    assert "service manual" in layout_note()
    for name in layout_names():
        engine = layout_of(name)
        assert engine.firing_order == () or sorted(engine.firing_order) == list(engine.numbers)
        assert (engine.arrangement == Arrangement.VEE) == name.startswith("vee")
        assert sorted(c for bank in engine.banks for c in bank) == (list(engine.numbers) if engine.banks else [])


def test_firing_orders_common_in_textbooks():
    """Common practice, no source: the usual orders of inline fours and sixes."""
    assert layout_of("inline four").firing_order == (1, 3, 4, 2)
    assert layout_of("Inline  Six").firing_order == (1, 5, 3, 6, 2, 4)


def test_an_inline_four_and_six_fire_in_pairs_that_rise_together():
    """Pistons of a flat four or a six crank rise in mirrored pairs, which fire one revolution apart."""
    for name, pairs in (("inline four", ((1, 4), (2, 3))), ("inline six", ((1, 6), (2, 5), (3, 4)))):
        order = layout_of(name).firing_order
        for a, b in pairs:
            assert abs(order.index(a) - order.index(b)) == len(order) // 2


def test_an_unknown_shape_is_refused_with_those_that_are_known():
    with pytest.raises(BadInput, match="use one of single, inline two"):
        layout_of("flat four")


def test_a_layout_that_contradicts_itself_is_refused():
    with pytest.raises(WrongEngine, match="exactly once"):
        Engine(4, (1, 3, 4, 4))
    with pytest.raises(WrongEngine, match="more than one driver group"):
        Engine(4, drivers=((1, 2), (2, 3)))
    with pytest.raises(WrongEngine, match="give a number from 1 to 20"):
        Engine(21)

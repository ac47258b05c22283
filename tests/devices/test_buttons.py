from rig.devices.buttons import PushButton


def presses(button, levels, step_s=0.01):
    """Times at which the levels, one every 10 ms, count as a press."""
    return [round(i * step_s, 3) for i, v in enumerate(levels) if button.update(i * step_s, v)]


def test_a_press_counts_once_after_it_has_been_held():
    assert presses(PushButton(), [False] * 5 + [True] * 20) == [0.08]


def test_a_button_held_at_boot_starts_nothing():
    assert presses(PushButton(), [True] * 200) == []


def test_it_counts_again_once_it_was_let_go():
    levels = [True] * 20 + [False] * 5 + [True] * 10 + [False] * 5 + [True] * 10
    assert len(presses(PushButton(), levels)) == 2


def test_a_bounce_on_letting_go_of_a_button_held_at_boot_starts_nothing():
    assert presses(PushButton(), [True] * 10 + [False, True, False, True] + [True] * 10) == []


def test_bounces_make_one_press():
    levels = [False] * 5 + [True, False, True, False, True] + [True] * 10
    assert len(presses(PushButton(), levels)) == 1


def test_a_spike_counts_for_nothing():
    assert presses(PushButton(), [False] * 5 + [True] * 2 + [False] * 10) == []


def test_edges_alone_do_as_well_as_polling():
    button = PushButton()
    assert not button.update(0.0, False)
    assert not button.update(1.0, True)
    assert button.update(1.03, True)
    assert not button.update(1.5, True)
    assert not button.update(2.0, False)
    assert not button.update(2.5, True)
    assert button.update(2.54, True)

from rig.devices.sample_clock import SampleClock


def test_a_reading_from_before_the_counting_began_is_taken_in() -> None:
    # After an overrun the counting begins anew, a moment after the level was read.
    samples = SampleClock(0.005, 0.1, start_s=10.0)
    samples.observe(9.998, 9.999, 0)
    assert 9.998 <= samples.time_of_s(0) <= 10.005

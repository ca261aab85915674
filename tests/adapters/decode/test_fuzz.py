"""A short run of the fuzz runner."""

from tests.adapters.decode.fuzz import decoders, run


def test_twenty_thousand_hostile_payloads_raise_nothing_but_decode_errors():
    counts = run(20_000, seed=7)
    assert set(counts) == set(decoders())
    for name, outcomes in counts.items():
        assert outcomes.total() == 20_000 // len(counts)
        # Both ways are taken, so the payloads are neither all noise nor all sound.
        assert outcomes["refused"] or name == "described"
        assert outcomes["good"]

"""A small run file for the tests of reading and writing."""

from pathlib import Path

from rig.runfile.model import (
    Climate,
    End,
    Event,
    Header,
    ImuSetup,
    Line,
    RunSettings,
    Samples,
    Steps,
)
from rig.runfile.reader import RunFile
from rig.settings.model import Beam, Linkage, Screw


def end_of(run: RunFile) -> End:
    """The last line of a run that has one."""
    assert run.end is not None
    return run.end


def header(**changes: object) -> Header:
    values: dict[str, object] = {
        "run_id": "20261125T101112000Z-0a1b2c",
        "started_at": "2026-11-25T10:11:12Z",
        "rig": "bench",
        "settings": RunSettings(
            linkage=Linkage(),
            screw=Screw(),
            beam=Beam(),
            beams=1,
            imu=ImuSetup(model="lsm6dsox", rate_hz=208.0, lowpass_hz=20.8, mode="fifo"),
        ),
        "rate_deg_s": 1.0,
        "dwell_s": 5.0,
        "source": "twin",
        "software": "rig 0.1.0",
    }
    return Header(**(values | changes))  # type: ignore[arg-type]


LINES: list[Line] = [
    Event(t_s=0.0, event="state", detail={"state": "dwelling"}),
    Climate(t_s=0.5, temperature_c=21.0, relative_humidity_pct=48.0, pressure_hpa=1010.0),
    Event(t_s=5.0, event="state", detail={"state": "raising"}),
    *(
        Samples(
            t_s=5.0 + 0.1 * k,
            dt_s=0.005,
            counts=[(k, -i, 16000 + i) for i in range(20)],
            imu_temperature_c=24.5,
        )
        for k in range(10)
    ),
    Steps(t_s=5.5, count=400, jitter_us=120.0),
    Event(t_s=5.9, event="beam_broken", detail={"beam": 1}),
]
END = End(outcome="slid", flags=[], samples_lost=0, bus_retries=1, lines=1 + len(LINES))


def unchecked(path: Path) -> Path:
    """The file as an older program left it, without a check in its last line."""
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b',"check":')] + b"}\n")
    return path

"""A snapshot as the sections of the page: ready words and places, nothing left to work out."""

from typing import Any

from rig.control.pace import Pace
from rig.panel.course import Course
from rig.panel.seats import Seat
from rig.panel.slides import picture
from rig.panel.view import Notice, Snapshot
from rig.panel.words import (
    BY_HAND,
    COMES_NEXT,
    STATES,
    Units,
    count,
    degrees,
    duration,
    humidity,
    pressure,
    temperature,
)
from rig.quantities.shown import system

Section = dict[str, Any]


def sections(snap: Snapshot, units: Units) -> dict[str, Section]:
    """What every watcher sees, by section; equal input gives equal output."""
    tone, meaning = STATES[snap.state]
    if snap.by_hand:
        meaning = BY_HAND.get(snap.state, meaning)
    elif snap.state == "parked" and snap.is_busy:
        tone, meaning = "move", COMES_NEXT
    return {
        "state": {
            "word": snap.state.capitalize(),
            "tone": tone,
            "text": snap.wants or meaning,
            "asks": bool(snap.wants),
            "run": _run(snap),
        },
        "angle": {
            "text": degrees(snap.angle_deg, 1),
            "tilt": None if snap.angle_deg is None else round(snap.angle_deg, 2),
            "steps": degrees(snap.step_angle_deg),
            "by_motor": not snap.by_hand,
            "across": degrees(snap.cross_slope_deg),
        },
        "air": {
            "temperature": temperature(snap.temperature_c, units),
            "humidity": humidity(snap.relative_humidity_pct),
            "pressure": pressure(snap.pressure_hpa, units),
            "chip": temperature(snap.imu_temperature_c, units),
        },
        "pace": pace_section(snap.pace),
        "beam": _beam(snap),
        "notice": notice_section(notice_in(snap)),
        "stop": {"count": snap.stops, "moving": snap.is_moving},
        "course": _course(snap, units),
    }


def pace_section(pace: Pace | None) -> Section:
    """The pace of a raise by hand: words, and where the needle stands.

    The needle goes from -1 (at rest) over 0 (as asked) to 1 (twice as fast); `band` is how far from
    0 a slide is refused.
    """
    if pace is None:
        return {"shown": False, "text": "", "word": "", "needle": 0.0, "band": 0.0}
    off = pace.rate_deg_s / pace.target_deg_s - 1.0
    return {
        "shown": True,
        "text": f"{pace.rate_deg_s:.1f} °/s",
        "word": pace.word,
        "needle": round(min(1.0, max(-1.0, off)), 2),
        "band": round(min(1.0, pace.most_off), 2),
    }


def notice_in(snap: Snapshot) -> Notice | None:
    """What a person should know now; a stop that is down at rest needs no event to be told."""
    if snap.notice is not None and snap.notice.kind == "fault":
        return snap.notice
    if "emergency_stop" in snap.inputs:
        return Notice(
            "fault",
            "Emergency stop",
            "The emergency stop is pressed, or its wire is broken.",
            "Make the rig safe, then release it.",
        )
    return snap.notice


def notice_section(notice: Notice | None) -> Section:
    """The notice in words; without one, its kind is empty."""
    if notice is None:
        return {"kind": "", "title": "", "what": "", "action": ""}
    return {
        "kind": notice.kind,
        "title": notice.title,
        "what": notice.what,
        "action": notice.action,
    }


def _beam(snap: Snapshot) -> Section:
    broken = snap.beams_broken
    if len(broken) == 1:
        text = "Broken" if broken[0] else "Free"
    else:
        text = ", ".join(
            f"{i} {'broken' if is_broken else 'free'}" for i, is_broken in enumerate(broken, 1)
        )
    others = ", ".join(name.replace("_", " ") for name in snap.inputs)
    return {"text": text, "broken": any(broken), "inputs": others or "none"}


def _run(snap: Snapshot) -> Section | None:
    """Which bag the series is of: in one message with the state, so that neither lags behind."""
    if not snap.is_busy:
        return None
    course = snap.course
    request = None if course is None else course.request
    if course is None or request is None:
        return {"bag": "", "face": "", "again": False}  # before the first run of a series
    is_back = course.n_done > course.n_before
    return {"bag": request.bag or "", "face": request.face or "", "again": is_back}


def _course(snap: Snapshot, units: Units) -> Section:
    course = snap.course
    if course is None:
        return {"shown": False, "title": "", "text": "", "share": 0.0, "left": ""}
    return {
        "shown": True,
        "title": course_title(course, is_busy=snap.is_busy),
        "text": what_runs(course, units),
        "share": round(course.n_done / course.n_all, 3) if course.n_all else 1.0,
        "left": time_left(course) if snap.is_busy else "",
    }


def course_title(course: Course, *, is_busy: bool) -> str:
    """How many runs are made."""
    if is_busy and course.request is not None and course.n_done < course.n_all:
        return f"Run {course.request.repeat or course.n_done + 1} of {course.n_all}"
    return f"{course.n_done} of {count(course.n_all, 'run')} made"


def time_left(course: Course) -> str:
    """How long it will take still, waiting for people left out."""
    if course.left_s is None or course.left_s <= 0:
        return ""
    return f"{duration(course.left_s)} left"


def what_runs(course: Course, units: Units = "metric") -> str:
    """Bag, face and board of the run, its rate and its gap."""
    request = course.request
    if request is None:
        return ""
    bag = request.bag or "a bag without a name"
    face = f", {request.face} face" if request.face else ""
    board = f", on {request.board}" if request.board else ""
    gap = system(units)["mm"].text(request.gap_mm, 1)
    return f"{bag}{face}{board}, {request.rate_deg_s:g} °/s, gap {gap}"


def slides_section(snap: Snapshot) -> Section:
    """The dots; worked out again only when there is another one."""
    return picture(snap.dots)


def actions(snap: Snapshot, place: Seat, *, is_live: bool = True) -> Section:
    """What this watcher may press now, and why not.

    Args:
        snap: what there is to see.
        place: of the watcher.
        is_live: the machine shows signs of life; nothing is begun on one that does not.
    """
    may = place.role == "controller" or (place.role == "paired" and not place.holder)
    may = may and is_live
    is_stopped = "emergency_stop" in snap.inputs
    is_paired = place.role != "watcher"  # others are shown how to pair, and nothing else to press
    is_idle = is_paired and not snap.is_busy and not snap.is_latched
    return {
        "role": place.role,
        "text": _who(place),
        "pair": place.role == "watcher",
        "take": place.role == "paired" and bool(place.holder),
        "start": {"shown": is_paired and snap.waits_for_start, "enabled": may},
        "series": {"shown": is_idle and not is_stopped, "enabled": may},
        "resume": {
            "shown": is_idle and not is_stopped and bool(snap.unfinished),
            "enabled": may,
            "text": snap.unfinished,
        },
        "reset": {
            "shown": is_paired and snap.is_latched,
            "enabled": may and not is_stopped,
            "text": "Release the emergency stop first."
            if is_stopped
            else "First see to the cause. Resetting moves nothing.",
        },
    }


def _who(place: Seat) -> str:
    if place.role == "watcher":
        who = f"{place.holder.capitalize()} has the controls. " if place.holder else ""
        return f"{who}You watch, and can stop. To start, pair this device."
    if place.role == "controller":
        return f"This is {place.name}; it has the controls."
    if place.holder:
        return f"This is {place.name}. {place.holder.capitalize()} has the controls; you can stop."
    return f"This is {place.name}. The controls are free."

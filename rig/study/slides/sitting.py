"""Which sitting a reading by hand belongs to."""

from rig.study.folder.study import Study
from rig.study.slides.table import slide_table


def sitting(study: Study, at: str) -> str:
    """The only session with runs on the day of this time; else the day."""
    day = at[:10]
    rows = slide_table(study).of_rig
    sessions = {row.session for row in rows if row.session and row.at[:10] == day}
    return sessions.pop() if len(sessions) == 1 else day

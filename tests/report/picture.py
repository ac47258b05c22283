"""Makes the README's picture of an answer: the head of the report of a study, in Chromium.

`python -m tests.report.picture demo/club` writes `answer.png` beside this file; the study is that
of the demonstration with its usual seed.
"""

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.panel.browser import browser

PICTURE = Path(__file__).parent / "answer.png"
AIR = ("--temperature", "22", "--humidity", "55")
WIDE, HIGH = 980, 652


def main() -> None:
    """Write the picture."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("study", type=Path)
    study = parser.parse_args().study
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "report.html"
        words = ["report", str(study), *AIR, "--out", str(page)]
        rig = "from rig.commands.main import main; main()"
        subprocess.run([sys.executable, "-c", rig, *words], check=True)
        with browser(page.as_uri(), (WIDE, HIGH)) as shown:
            metrics = {"width": WIDE, "height": HIGH, "deviceScaleFactor": 1.0, "mobile": False}
            shown.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
            shown.run("document.body.style.overflow = 'hidden'")
            PICTURE.write_bytes(shown.driver.get_screenshot_as_png())


if __name__ == "__main__":
    main()

"""Count what runs of pytest did; fail when a test was skipped or those that need the outside world did not pass."""

import sys
import xml.etree.ElementTree as ET
from pathlib import Path

NAMED = ("test_real_track_through_the_whole_command", "test_real_track_agrees_with_ffmpeg")

cases = [case for path in sys.argv[1:] for case in ET.parse(path).getroot().iter("testcase")]
skipped = [case.get("name") for case in cases if case.find("skipped") is not None]
failed = [case.get("name") for case in cases if case.find("failure") is not None or case.find("error") is not None]
passed = [str(case.get("name")) for case in cases if len(case.findall("*")) == 0 or case.find("system-out") is not None]
passed = [name for name in passed if name not in skipped and name not in failed]
print(f"collected {len(cases)}, passed {len(passed)}, skipped {len(skipped)}, failed {len(failed)}")
line = f"{len(passed)} passed, {len(failed)} failed, {len(skipped)} skipped"
Path(sys.argv[1]).with_name("counted.txt").write_text(line + "\n")
missing = [name for name in NAMED if not any(one.startswith(name) for one in passed)]
for name in skipped:
    print(f"skipped: {name}")
for name in missing:
    print(f"did not run and pass: {name}")
sys.exit(bool(skipped or failed or missing))

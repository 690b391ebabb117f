"""Files that give way while they are examined; everything else about them is tested through the command."""

import errno

import numpy as np
import soundfile

from qc.intake import inspection as module
from qc.intake.inspection import Declared, examine


def test_a_disk_that_fails_is_a_fault_of_the_file(tmp_path, monkeypatch):
    path = tmp_path / "side-a.wav"
    soundfile.write(path, np.zeros((100, 2)), 48_000)

    def failing(*_, **__):
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(module, "digests_of", failing)
    received = examine(Declared(path, "side-a.wav"))
    (fault,) = received.faults
    assert (fault.kind, fault.fatal) == ("missing", True)
    assert "side-a.wav cannot be read to its end: Input/output error" in fault.message

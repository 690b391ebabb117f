"""The music: five short pieces, written for this demo."""

from __future__ import annotations

from qc.demo.band import DORIAN, MAJOR, MINOR, Section, SongPlan

_LANTERNS = (
    "r:1 s5ae:.5 t5i:.5 6o:.5 5e:.5 3a:1  r:.5 s3i:.5 4e:.5 5o:1 t3a:1.5 "
    "r:1 5a:.5 s7i:.5 7e:.5 5o:.5 t4a:1  2e:1 s3i:.5 2a:2.5"
)
_ROPES = "s8ai:1.5 t7e:.5 5o:2  r:.5 s6a:.5 7i:.5 8e:1 7o:1.5 10ai:1 9e:.5 8a:1 t7i:1.5  5o:1 s6e:1 7a:2"
_SLACK = "r:2 3ou:1 t4e:1  s5a:3 r:1 r:1 6o:1 5e:1 t3i:1  2a:3 r:1"
_WATER = "5ae:1 8o:2 t7e:1  6a:3 s5i:1 4o:1 5e:1 6a:1 t5i:1  3ou:3 r:1"
_PIER = "r:.5 t1a:.5 3e:.5 4o:.5 5a:1.5 s4i:.5  3e:1 t1o:2 r:1 r:.5 3a:.5 4e:.5 5i:.5 7o:1.5 t5e:.5  4a:1.5 3o:1.5 r:1"
_GLASS = (
    "s8a:.5 8i:.5 t8e:.5 7o:.5 8a:1 r:1  r:.5 7i:.5 t5e:.5 7o:1.5 r:1 "
    "s8a:.5 10i:.5 t9e:.5 8o:.5 7a:1 r:1  5ai:1 t4e:1 5o:2"
)
_LAMP = "r:1 5ou:1 t6e:1 5a:1  3i:2.5 r:.5 s2e:.5 t3a:.5 4o:1.5 3e:.5 2a:1 t1i:1  2ou:3 r:1"
_ROOM = "8a:1 t7i:1 6e:2  5o:1.5 s6a:.5 5i:2 4ae:1 5o:1 t6e:1.5 8a:.5  7ou:3 r:1"

_FALLING, _TURNING = (1, 6, 3, 7), (6, 7, 1, 1)

ROPES_AND_LANTERNS = SongPlan(
    "Ropes and Lanterns", 11, 100.0, 45, DORIAN,
    (
        Section((1, 1, 7, 7), "gx"),
        Section(_FALLING * 2, "bgxk", _LANTERNS),
        Section((4, 1, 7, 1) * 2, "bgksD", _ROPES),
        Section(_FALLING, "bgxd", _LANTERNS),
        Section((6, 7, 1, 1), "bgks"),
        Section((4, 1, 7, 1) * 3, "bgkshD", _ROPES),
        Section((7, 7), "bgs"),
    ),
    cymbals=0.6, drive=0.42,
)  # fmt: skip
SLACK_WATER = SongPlan(
    "Slack Water", 12, 76.0, 43, MAJOR,
    (
        Section((1, 4), "k"),
        Section((1, 6, 4, 5) * 2, "bkx", _SLACK),
        Section((4, 1, 2, 5) * 2, "bksd", _WATER),
        Section((1, 6, 4, 5), "bks"),
    ),
    swing=0.12, cymbals=0.6, room=0.3, drive=0.5,
)  # fmt: skip
THE_WIDE_PIER = SongPlan(
    "The Wide Pier", 21, 104.0, 43, MINOR,
    (
        Section((1, 1, 4, 4), "kx"),
        Section(_FALLING * 2, "bkgd", _PIER),
        Section((4, 1, 7, 3), "wkgd"),
        Section(_FALLING * 2, "bkgsd", _PIER),
        Section((4, 1, 7, 3), "bkgsD", _PIER),
        Section((1, 6, 1, 6), "bks"),
    ),
    drive=0.6,
)  # fmt: skip
SALT_ON_GLASS = SongPlan(
    "Salt on Glass", 22, 126.0, 45, MINOR,
    (
        Section((1, 1, 6, 7), "gd"),
        Section((1, 6, 3, 7) * 2, "bgkd", _GLASS),
        Section((6, 7, 1, 1) * 2, "bgksD", _GLASS),
        Section((4, 4, 6, 7), "bgx"),
        Section((6, 7, 1, 1) * 2, "bgkshD", _GLASS),
        Section((1, 6, 3, 7), "bgkd", _GLASS),
        Section((6, 7, 1, 1), "bgkshD", _GLASS),
        Section((1, 1), "bgd"),
    ),
    drive=0.75, peak=0.94,
)  # fmt: skip
LAMP_ROOM = SongPlan(
    "Lamp Room", 23, 88.0, 40, MAJOR,
    (
        Section((1, 5, 4, 4), "k"),
        Section((1, 5, 6, 4) * 2, "bkg", _LAMP),
        Section((4, 5, 1, 6) * 2, "bkgsd", _ROOM),
        Section((4, 5, 1, 6) * 2, "bkgshd", _ROOM),
        Section((1, 5, 6, 4), "bkg", _LAMP),
        Section((4, 5), "bks"),
    ),
    swing=0.1, cymbals=0.6, room=0.28, drive=0.5,
)  # fmt: skip

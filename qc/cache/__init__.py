"""Stored measurements: results of one run kept for the next, so that audio is not processed again.

`codec.py` turns a value into MessagePack and arrays along its type, `entry.py` is one file, `keys.py` is what a result
depends on, `store.py` holds results and digests, `place.py` finds the folder, `folder.py` reads and writes in it,
private and never through links, and `sweep.py` keeps it to 4 GiB and 30 days. `explainer.py` with `reasons.py` says why
an analysis was measured. `measure/side.py` takes from the store what it has, measures the rest in one pass and stores
what is new.

* The key of a result holds the digests of all files of the side and their places, the stream, the need's id, version,
  fields and taps, the version of its distribution, and a digest of the sources that decide its numbers: the kernels
  with compilers and processor, the reading of files, the pass, and the package that the need and its taps come from.
  So no version has to be raised for an edit.
* The SHA-256 of a file is remembered by path, size, time of change, inode, device and ctime. If any differs, the file
  is hashed again. A pass that ends with another digest than was expected is thrown away, and everything is measured.
* Only a side that was processed to its end, without a fatal fault and without a change meanwhile, is stored.
* A result is stored when its class names its type, `Analysis[Loudness]`, and the value comes back as it was: numbers,
  text, booleans, None, tuples, arrays of one kind of number, and dataclasses of these. Any other is measured each time.
* What the level search found is stored too: the worst of each measurement by level and polarity, and the repairs that
  were tried. No limit is in it, so another ruleset with the same chain uses the same numbers.
* Damage, a file that does not belong there, a folder that cannot be written: one sentence on stderr, never an exit
  code. A file is written under another name and renamed.

An entry does not prove who wrote it, so nothing in the folder of a delivery is ever used as a store.
"""

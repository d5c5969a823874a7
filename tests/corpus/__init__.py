"""The golden corpus: stored events of every type and version, as they were once recorded.

`stored.ndjson` is a small log in order of position. Its lines never change; new types and versions
are added at its end by `python -m tests.corpus`, from what `story.py` tells.
"""

"""What the product answered once, so that no change goes unnoticed.

The values here came from the product itself: they say that an answer has changed, never that it was
right (that is for the checks by hand, by brute force, by the second reading and in
`tests/outside`). After a change that is meant, `python -m tests.recorded [FILE …]` records anew and
prints each value before and after: read them all.
"""

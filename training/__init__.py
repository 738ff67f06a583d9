"""Makes the closed-vocabulary head again from nothing: ``python -m training.make``.

Not part of the installed program; nothing in ``callout`` may import from here.
"""

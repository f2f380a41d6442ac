"""The commands of the project: the command line ``xlate`` and the sheets and checks behind it.

``demo.py`` and ``test.py`` are scripts that set up their own virtual environment; they and
``environment.py`` use the standard library only.
"""

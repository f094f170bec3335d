"""Finds instruments: tunes one size, seeks the reach of a hand."""

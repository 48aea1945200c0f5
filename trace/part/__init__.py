"""The part separated from the sheet on a reduced photo, to about a millimetre."""

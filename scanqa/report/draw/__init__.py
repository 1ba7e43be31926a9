"""Pictures as plain SVG; only curves over axes load matplotlib.

Colours are classes of the page's style sheet, so that a drawing follows it into the dark.
"""

"""Drawings, plots and 3D models for people.

``svg`` writes elements, ``axes`` finds ticks, ``ramp`` shades; ``plots``, ``loads``, ``heat``, ``gauges`` and
``drawing`` make SVG that prints; ``glb`` makes the 3D model. Nothing here computes results: it shows them.
"""

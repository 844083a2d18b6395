"""Crashing the quad in simulation."""

"""Drawings, plots and 3D models for people."""

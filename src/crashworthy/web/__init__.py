"""The web app: pages over the workshop, no computation."""

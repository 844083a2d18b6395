"""An invented fleet and its simulated flight log."""

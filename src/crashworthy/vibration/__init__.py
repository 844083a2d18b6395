"""What the flight log says about props, screws, motors and pack."""

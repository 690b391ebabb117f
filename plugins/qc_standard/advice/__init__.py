"""What the standard checks advise after a second look: numbers for the place that was found, put into words."""

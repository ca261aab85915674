"""Files from elsewhere put on record: read, judged, and written all at once or not at all."""

"""What an instrument is and how it sounds; imports nothing else of ours."""

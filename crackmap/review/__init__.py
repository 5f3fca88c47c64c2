"""The review: a local server for one job folder, and the page it serves."""

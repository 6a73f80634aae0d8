"""Taking images in through the browser: bring, look, confirm, keep all or nothing."""

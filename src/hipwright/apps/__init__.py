"""The doors: the command line and the web part. They parse, call a workflow and show."""

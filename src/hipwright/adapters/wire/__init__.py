"""Every JSON document, defined once for the command line, the web and files."""

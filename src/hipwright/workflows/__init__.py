"""One file a job, and the ports through which a job reaches the outside."""

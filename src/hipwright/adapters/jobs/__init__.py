"""Long work: a process of its own a job, its heartbeat, and the results of finished stages."""

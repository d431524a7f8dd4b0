"""What happened on a job: frozen events, and the job that their replay gives."""

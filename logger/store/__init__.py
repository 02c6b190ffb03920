"""The database behind one door: one file a noun; SQL nowhere else."""

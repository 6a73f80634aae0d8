"""The page of one hip: films, measurements, change, grades, papers, history."""

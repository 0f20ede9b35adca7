"""The season: sessions kept for years, compared only with their like, changes judged against the noise."""

"""The questions that people ask of a hold; values in, values out."""

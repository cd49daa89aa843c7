"""All that a hold can be with its options, proved at once.

Read in this order: configurations, conditions, merging, asking, families.
"""

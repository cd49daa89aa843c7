"""Is a written procedure right, and what do slips in it lead to?"""

"""Question 2: how do I set it up?"""

"""Question 3: how long may it run alone?"""

"""Question 1: will this program run on this machine and make this part?"""

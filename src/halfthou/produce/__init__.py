"""Question 5: do the parts fit, what do they cost, may they be released?"""

"""Question 4: is it in tolerance, and what do I enter?"""

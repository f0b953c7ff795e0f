"""A campaign of random constructs: does every valid one mesh?"""

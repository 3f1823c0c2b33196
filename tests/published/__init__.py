"""Checks against what others published: worked examples, tables, certified values, open data.

Every figure says how it is known, by a mark that means the same in each of these files:

- [S] seen: the passage itself was read;
- [S2] second-hand: read where somebody else quotes it (a transcript, a library, its tests);
- [M] from memory: nobody here had the source at hand; a test that rests on [M] alone shows that
  the program agrees with what is remembered, not with the print;
- [I] inference: no source says it;
- [C] computed anew, from the formula and the inputs that the source gives.

A mark stands behind what it is about: a figure, a table, a section number. Two marks, such as
[M] + [C], mean that the inputs are remembered and the result was computed from them. What a check
exercises is what a command calls; `test_register.py` says which case is checked where, and which
is left out and why.
"""

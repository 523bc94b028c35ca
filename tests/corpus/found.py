"""What the runs have found so far, as docs/proof.md tells it."""

FOUND = """
## What the run has found so far

Wrong or refused at first, now right, each with a test:

- A tip folded inside out, too small for the lines of intake's own cross-check, was taken for the
  roof of a hollow. Where something lay above it the two were joined, and the pocket in that limb
  was lost; where nothing did, the figure was refused (a real mesh, in three of six directions).
  Now a ray that enters before it leaves did not start inside, and a tip with nothing inside above
  it is a maximum like any other: `tests/core/test_air_folds.py`.
- A model of two-sided faces, each triangle once either way, was given a volume and pockets that
  are not there. It is refused by name; sheets of such pairs on a sound body are left out and
  told: `tests/core/test_intake.py`.
- A closed surface of several materials came as one open part a material from OBJ and GLB files,
  and was refused. Parts that are open by themselves are now one: `tests/core/test_read.py`.
- A body of boxes was said to cross itself by 0.00 % where it was 0.2 %: the lines that measure it
  ran in step with it. They now lie in no rows, and a body that crosses itself is measured again by
  many more: `tests/core/test_columns.py`.
- A mesh of 329 000 triangles with tens of thousands of edges of more than two faces took over five
  minutes before its holes were named; the time is linear now.
- Two bodies that stand on a third and touch in an edge were tied together along it (two of a
  thousand made-up bodies of convex parts). The union gives that edge one vertex at one end and two
  at the other, and to draw these apart made a fold between the bodies; a pocket in the lower one
  was lost. By the parts' own coordinates one lies this side of a plane and the other that side.
  The faces round such an edge now go together as the wedges of the inside do:
  `tests/core/test_topology.py`.
- Of damaged files: a needle a kilometre long was left out as a sheet although it held part of the
  figure; a text STL's facet whose first word was gone was read all the same; a GLB's mesh -1 was
  left out without a word; half of a character, which JSON can name, stopped the pour sheet, and a
  list for the name of a silicone the job. All are kept in `tests/fuzz/kept`, with those of earlier
  runs.

And of the references: on 65 convex parts that touch in hairlines, cutting loses up to a tenth of a
percent of the body, where lines through the raw triangles agree with the join tree. Where the two
differ in the volume above a level, such lines therefore decide, and what they decide is counted
above.
"""

"""Many sets of scans, or many jobs, measured by several processes, here or on a cluster.

``manifest`` says what there is to do, ``tasks`` does one piece of it in a worker, ``engine`` hands
pieces to workers, ``look_back`` decides a scanner's new checks when all of them are there. Only
names travel to the workers, and what became of each comes back: pixels are read, and records are
written, where the work is done. A check that was measured is on record, whatever happens next.
"""

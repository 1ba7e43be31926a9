"""A job for the archive: a BagIt bag with MIX and PREMIS entries; masters are never moved."""

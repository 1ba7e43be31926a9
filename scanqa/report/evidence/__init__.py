"""The page for a seller: what was found beyond doubt, what is asked, what stands behind it."""

"""A new point file: from answers, from options, or from what an archive keeps of last year's."""

"""The trailer on the phones around the laptop: one page a job, the answer first.

`app` puts the pages together, `guard` says who may see and change them, `desk` keeps what was
worked out; each other module is one page and has a template of its name. A page calls the front
door and shows what `show` says; it holds no rule and no number of its own.
"""

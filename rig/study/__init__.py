"""A study: its bags, treatments, plan, journal and runs, all in one folder of open text files."""

"""Write the hundred tables and expected.jsonl beside this folder: python tables_b_write.py."""

from tables_b_clocks import all_clocks
from tables_b_figures import all_figures
from tables_b_kit import finish
from tables_b_names import all_names
from tables_b_rows import all_rows

all_rows()
all_figures()
all_clocks()
all_names()
finish()

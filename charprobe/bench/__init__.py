"""At the bench: play, record, judge, next. Needs the extra ``charprobe[live]``."""

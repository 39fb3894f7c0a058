"""JSON Schemas of the files charprobe writes."""

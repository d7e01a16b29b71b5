"""The first start: what newcomers are told and asked, once."""

"""Writers: a layer of holes as the text or bytes of one file format each."""

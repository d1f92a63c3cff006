"""Writers: layers of holes, and pictures of them, as the text or bytes of one file format each.

``cut_files`` is the door: every layer in every format asked, and the time that it takes to cut.
``layer_svg``, ``layer_dxf``, ``layer_hpgl`` and ``layer_pdf`` write one layer. Values are in mm
with y down; a writer flips for itself where its format has y up.

``panel_svg`` writes a panel of the roll and the plan of the whole roll, ``coupon_svg`` the test
cut, ``findings_svg`` the picture of a check, ``artwork_svg`` what was understood of a drawing.

To add a cut format: a module ``layer_NAME`` with one function, its row in ``cut_files.FORMATS``,
and its name in ``model.job.CUT_FORMATS``, from which job files and the command line know it.
"""

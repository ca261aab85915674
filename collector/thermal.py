"""Colours of temperatures, for the terminal and for the picture that goes with a message: dark is cold, bright is hot.

"thermal" of cmocean, Copyright (c) 2015 Kristen M. Thyng, MIT licence (Thyng et al., *Oceanography* 29(3), 2016,
doi:10.5670/oceanog.2016.66): 33 anchors of six hex digits, evenly spaced, which colour-blind eyes can read.
"""

__all__ = ["THERMAL"]

THERMAL = (
    "042333 052943 082e54 0e3167 19337c 273491 39339e 49369f 563b9c 624198 6d4694 784b91 83508f 8e548c 995889 a55c86"
    " b15f82 bd637c c96775 d46b6d df7064 e8775a f07f50 f68848 f99341 fb9f3d fcac3c fbb93e f9c641 f6d347 f2e14d edee54"
    " e8fa5b"
)

"""The live number on a phone: one small page, read-only, for whoever lies under the machine.

Why it exists: the screen stands on the bench and the bolt is under it. A phone can lie beside the wrench. The mistake
prevented: a view for one's own workshop that is open to every stranger, every web page and every forgotten phone.

``shown``    what the page shows, as one frozen record
``link``     the address with its token, as text and as a QR code
``server``   the page and its stream: loopback unless asked, token, Host and Origin checked, everything bounded
``page.html``  the page itself: bar, number, target, bolt, and a warning when the link is old
"""

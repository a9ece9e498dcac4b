"""What the people of an invented lakeside village wrote, printed and remember. No place or person here is real."""

CLIPPING_HEAD = ("Choir Outing Ends", "in a Borrowed Hay Cart")
CLIPPING_DECK = "Bakery oven lit again at midnight to feed the singers"
CLIPPING_BODY = """\
¶ The summer outing of the Hollinmere Reading Room choir, which left the boat shed at half past seven on \
Saturday with thirty-one singers in four boats, did not end where it was meant to end. By three in the \
afternoon the wind had gone round to the north, and the harbour master at Kettle Point would let no boat \
leave before dark.
¶ Mr. Tobias Fenn, who had the tickets for the supper in his pocket, walked over the hill to the Quill farm \
and came back with a hay cart, two lanterns and a promise. The older ladies were given the sacks to sit on. \
The rest walked, and sang, it is said, the whole of the second book twice.
¶ It was ten minutes to midnight when the bakery bell was rung. Mrs. Ada Quill, who had let her oven go out \
at noon, lit it again without a word, and by one o'clock there were rolls, plum cake and hot milk for \
everybody. The collection made on the spot came to four pounds and eleven shillings, and goes to the new \
roof of the boat shed.
¶ The boats were brought home on Sunday by the Orre brothers. One oar is missing, painted green, and marked \
with the letter H. Whoever finds it is asked to hand it in at the Reading Room, where the lost gloves are \
also kept.
¶ The choir will sing at the harvest show in September, weather and wind allowing, and this time on dry \
land. Practice is on Thursdays at seven. New voices, above all low ones, are welcome; a shilling for the \
lamp oil is not refused."""

OTHER_SIDE = """\
¶ Fresh rye loaves every Tuesday and Friday at the lower bakery. Orders for feast days are taken until noon \
the day before.
¶ For sale: a rowing boat, clinker built, sound, with two pairs of oars. Enquire at the boat shed.
¶ The ferry runs at eight, noon and five. In fog the bell is rung once a minute. Passengers with goats pay \
for the goat.
¶ Wanted: seed potatoes, early. Found: a brown umbrella with a duck's head handle.
¶ The Reading Room is heated from October. Readers are kindly asked to bring one log each. Lending is free \
to members; others leave a deposit. The new atlas may not be taken home.
¶ Boots mended while you wait, if you wait long enough. Next to the ferry house."""

SHOW_HEAD = "First Prize for the Orre Garden"
SHOW_CAPTION = "Pumpkins and squashes at the Hollinmere harvest show, Saturday last."
SHOW_BODY = """\
¶ More than two hundred entries were set out in the boat shed on Saturday, the largest show since the war. \
The judges were in the tent for an hour and a half over the pumpkins alone, and measured twice. The prize \
for the best loaf was again not given, since the baker would not compete against her own customers.
¶ The leeks of the lower village took the second prize. Complaints about the weighing of the honey were \
heard on the spot and settled with a second scale. The takings go to the roof."""

LETTER = (
    "Ferry House, Hollinmere",
    "9th March 1936",
    "",
    "Dear Tobias,",
    "",
    "The water came over the lower road on Sunday",
    "and by Monday it stood in our kitchen, so we have",
    "carried the stove up to the landing and live there",
    "like pigeons. You would laugh to see Marta cook.",
    "",
    "The boat shed is safe. The books of the Reading",
    "Room were taken to the bakery in the hay cart,",
    "all but the atlas, which nobody could lift.",
    "",
    "I send you the picture that I took from the wall.",
    "Keep it dry, it is the only one. When the road is",
    "clear again come and help us dig the garden out.",
    "",
    "Your old friend,",
    "Ada",
)

PENCILLED = ("Harvest show, Sept. 1974", "our stall – 2nd prize for the leeks!", "(back to Ines, please)")

ON_THE_MOUNT = "The first Reading Room, 1911"

NOT_A_PICTURE = """The scan of the boat shed door is still on the other computer.
I only saved this note under its name by mistake. Will bring it on Thursday.
Ines
"""

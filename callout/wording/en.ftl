# What Callout tells people, in English: the first and whole language, which others are held against.
# A message is told in full; .brief is for who wants few words, .shown for a screen, .full for the voice, where it differs.
# Words begin small where they may stand within others; a sentence gets its capital and its end.


## Parts of a reading, in the order in which they are called

as-is = { $text }
reading = { $parts }
tag = { $tag }
tag-stem = { $tag } stem { $stem }
tree = tree { $tag }
tree-stem = tree { $tag } stem { $stem }
tag-lost = tag lost
tag-was = was { $tag }
size = { $value }
amount = { $value } { $unit }
size-girth = girth { $called }, diameter { $kept }
size-kept-as = { $called }, kept as { $kept }
measured-at = measured at { $height } metres
measured-at-called = measured at { $called }, { $height } metres
status-live = live
status-dead-standing = dead standing
status-dead-down = dead down
status-cut = cut
status-missing = missing
status-not-found = not found
status-dead = dead
status-down = down
unit-in = inches
unit-cm = centimetres
unit-mm = millimetres
unit-m = metres
unit-ft = feet
short-in = in
short-cm = cm
short-mm = mm
short-m = m
short-ft = ft
spelt-tag = tag { $figures }
spelt-size = size { $figures }
new-tree = new tree { $reading }
reading-again = { $tree } again: { $now }
reading-instead = { $tree } again: { $now } instead of { $before }
reading-before = the reading before
undo = undo { $reading }: { $then }
nothing-stands = nothing of it stands then
stands-again = { $reading } stands again
before-of-stands-again = the reading before of { $tag } stands again

## What is asked

echo = { $parts }
confirm-asked = confirm?
    .brief = { "" }
accept-asked = accept?
still-waiting = still waiting: { $what }
    .brief = still: { $what }
not-saved-yet = not saved yet: { $what }
    .brief = not saved: { $what }
say-accept-to-keep = say accept to keep { $size }, or call it again
    .brief = accept?
say-accept-to-keep-it = say accept to keep it, or call it again
    .brief = accept?
say-accept-to-undo = say accept to undo it, or no
    .brief = accept?
tree-in-hand = { $parts }
diameter-asked = diameter?
which-tree = which tree? say tree and its tag
size-which-tree = { $size }: which tree?
size-or-tree = could be diameter { $size }, or tree { $tag }: say which
new-tree-in-hand = new { $parts }
which-tree-lost = which tree? say tree, its old tag, and tag lost

## What was done

saved = saved { $reading }
    .full = saved
    .brief = { "" }
few-words-now = from now on the voice says tag and number only, and a tone for saved; echo = "full" in survey.toml has it say all
    .full = from now on I say tag and number only; a tone means saved
    .brief = from now on I say tag and number only; a tone means saved
was-not-saved = { $reading } was not saved
was-not-undone = { $reading } was not undone
undone = undone: { $reading } is taken back
look-again = look again at { $tag }: { $warnings }
not-saved = not saved
say-tree-again = tree { $tag }: say it again
say-tree-and-tag-again = tree { $tag }: say it again, its new tag too
skipped = skipped { $tag }; it stays on the list
scratched = dropped, nothing saved
scratched-undo = dropped, nothing undone
size-dropped = { $size } is dropped

## The walk

plot = plot { $plot }
about-paint-line = paint line
about-no-paint-line = no paint line
about-plot = { $parts }
about-since = since { $when }
tags = { $tags }
tags-more = { $tags } and { $more } more
passed-over = passed over { $tags }
next-tree = next { $tag }
    .brief = { "" }
next-asked = next { $tag }
end-of-list = end of the list
left = { $count } left: { $tags }
nothing-left = nothing is left in this plot
not-complete = not complete
all-accounted-for = every tree of this plot is accounted for

day = { $parts }
day-saved = { $count } saved
day-left = { $count } left in this plot
day-waits = tree { $tag } still waits for its yes
day-no-size = tree { $tag } still waits for its diameter

## Answers

paused = paused: say where was I, or type go on
goes-on = listening again
was-not-paused = listening
last-time = { $tag } was { $size } in { $year }
no-last-time = no size of { $tag } from before
no-tree-in-hand = no tree in hand
blind-not-told = not told before it is saved: this plot is measured blind
no-warning = nothing is suspected of it
species-of-new = a species is called for a new tree alone: say new tree and its tag first
species-unheard = a new tree, but its species is not on the roster or was not understood: say it all again, or type it
no-such-plot = no plot { $plot } in this survey
help-idle = call a tree and its diameter, or its tag alone. Also: what's left, next, undo, note, pause, plot and its name
help-named = call its diameter, or dead, cut, missing, not found. Also: last time, skip, no
help-new = call its diameter, its species, or dead. Also: no
help-pending = say yes, or no and the right diameter. Also: repeat, last time, measured at, drop it
help-warned = say accept, or call it again. Also: why, last time, no, drop it
help-note = speak or type the note, or say no
help-paused = say where was I, or type go on
nothing-to-repeat = nothing to repeat
last-saved = last saved { $reading }
nothing-saved-yet = nothing saved yet
in-hand = in hand: tree { $tag }
all-well = good, all well at { $time }
settings-changed = the settings were changed: { $what }. Look, then say accept
clock-before = the clock says { $now }, and the survey knows { $known } already: set the clock, or say accept
holder-other = another machine held this survey last: it may have come from a stranger. Say accept to take it over
noted = noted
tag-corrected-by = nothing was changed: what waits, drop it by no; what was saved, take back by undo and accept; then call tree { $tag } and its diameter
waits-not = nothing of tree { $tag } waits; what was saved last is taken back by undo
which-species = say or type species and its name
nothing-waits = nothing waits for confirmation
that-has-changed = that has changed
say-again = say again
cannot-be-done = { $command } cannot be done now
nothing-to-skip = no tree in hand to skip
nothing-to-undo = nothing to undo in this plot

## Callouts by their plain words

command-confirm = yes
command-accept = accept
command-reject = no
command-repeat = repeat
command-undo = undo
command-skip = skip
command-scratch = drop it
command-note = note
command-left = what's left
command-where = where was I
command-well = I am standing
command-complete = plot complete
command-help = help
command-pause = pause
command-resume = go on
command-next = next
command-last = last time
command-why = why
command-plot = plot
command-species = species
command-retag = tag lost
command-height = height
command-status = status
command-press = tape
command-reading = reading
command-size = size
command-amend = correction
command-tree = tree
command-mistag = another tag
command-new = new tree

## Notes

note-asked = note about { $about }: speak or type it now
note-echo = note about { $about }: { $words }
note-dropped = no note about { $about } was kept
note-kept = note kept about { $about }
no-note-heard = no note heard

## Presses of a tape

press = tape { $value } { $unit }
press-girth = tape girth { $value } { $unit }
press-which-tree = { $press }: which tree?
press-dropped = { $press } is dropped
press-too-late = { $press } waited too long for its tree: press again
press-other-tree = { $press } is for tree { $tag }, tree { $named } was named: press again
press-not-taken = { $press } is not taken: { $device } was pressed while { $other } waits
press-both = { $other } and { $device } were both pressed with no tree named: press again

## Why it was not taken

say-tree-word = another tree, { $tag }? say tree before its tag
no-such-tree = no tree { $tag } in this plot: a new one is called new tree
read-old-tag = no tree { $tag } in this plot: read the old tag again
read-tag = no tree { $tag } in this plot: read the tag again
tag-in-plot = tag { $tag } is in this plot already: read it again
new-tree-together = say new tree, its tag and its diameter together
height-needs-size = a height goes with a size: call the tree's first
height-out-of-reach = { $called } is out of reach: say a height of { $lowest } to { $highest } metres
height-or-feet = { $called } is out of reach: say a height of { $lowest } to { $highest } metres, or was it feet
metres = { $metres } metres
feet = { $feet } feet
size-of-figures = a size of { $count } figures cannot be read: call it again
size-too-large = { $size } is larger than any tree: call it again
size-of-nothing = { $size } would be kept as { $kept }, which is no size: call it again
say-which-stem = tree { $tag } has { $count ->
     [one] stem { $last }
    *[other] stems { $stems } and { $last }
 } saved: say which stem

## What was not understood

no-callout = no callout in { $words }: say tree, its tag, then the diameter
so-far = { $meaning } was understood, { $rest } was not: call it again
nothing-fits = nothing in this plot fits: { $meanings }?
could-be = could be { $meanings }: say 'diameter' between them
could-be-either = could be { $one }, or { $other }: say it again
or-meaning = or { $meaning }
not-sure = not sure what was said: say it again
meant = { $tree } { $stem } { $size } { $status }
meant-stem = stem { $stem }
meant-diameter = diameter { $value }
could-be-digits = could be { $one }, or { $other }: say it again, digit by digit
spelt-tree = tree { $figures }
spelt-tree-alone = tree { $figures } alone
spelt-new-tag = new tag { $figures }
spelt-whole = { $whole }
spelt-value = { $whole } point { $places }
spelt-amount = { $value } { $unit }
its-diameter = its diameter
no-diameter = no diameter
no-stem = no stem
callout-too-long = a callout of { $count } characters is too long: say it shorter
cannot-read = cannot read { $words }: { $advice }
size-begins = a size begins with a digit, as 0.5
size-below-zero = a size is never below zero
write-point = write 24.6, or a space after the comma
write-sure = write a size without a question mark
write-words = write words or digits
write-fraction = write a fraction in halves to thirty-seconds, as 11 3/8
number-in-one-piece = { $meaning }? say the number in one piece
number-of-figures = no tree has a number of { $count } figures: call it again
line-too-long = a line of { $count } characters is no callout and no note

## Warnings

warn-unknown-tag = no tree { $tag } in this plot
    .brief = no such tag
warn-tag-in-use = tree { $tag } is already in this plot
    .brief = tag in use
warn-old-tag = tag { $tag } was replaced by { $new }
    .brief = old tag
warn-heard-unsurely = not surely heard
    .brief = unsure
warn-already-today = already { $what } today
    .brief = already today
warn-already-on = already { $what } on { $day }
measured = measured
warn-species-not-in-plot = no { $species } in this plot so far
    .brief = new species
warn-beyond-species = large for { $species }
    .brief = large
warn-status-last-time = { $status } last time
    .brief = was { $status }
warn-roster-height = the roster's height '{ $text }' is no number
warn-height-last-time = measured at { $height } metres last time
    .brief = was at { $height }
warn-roster-breast-height = the roster's breast height '{ $text }' is no number
warn-breast-height = breast height was { $before } metres last time, here it is { $now }
warn-down = that is down { $change } in { $time }
    .brief = down { $change }
warn-up = that is up { $change } in { $time }
    .brief = up { $change }
warn-same-as-ago = that is the same as { $time } ago
    .brief = unchanged
warn-figure-again = the same as { $time } ago
    .brief = unchanged
warn-more-than-tape = { $change }, too much for the tape alone
    .brief = { $change }
warn-with-change = { $change }, { $slip }
    .brief = { $change }
warn-tree-before = the same as the tree before
    .brief = as the tree before
warn-fits-other = { $change }, it fits tree { $tag } better
    .brief = { $change }
warn-girth = that looks like girth
    .brief = girth?
warn-diameter = that looks like a diameter read as girth
    .brief = diameter?
warn-centimetres = that looks like centimetres
    .brief = centimetres?
warn-inches = that looks like inches
    .brief = inches?
warn-converted = that looks converted from { $unit }
    .brief = converted?
warn-decimal = the decimal point looks one place off
    .brief = the point?
warn-alike = sixteen or sixty?
    .brief = sixteen or sixty?
warn-swapped = two digits look swapped
    .brief = swapped?
warn-one-off = one digit looks one off
    .brief = one figure off?
warn-other-unit = you said { $said }, this plot is kept in { $kept }
    .brief = { $said }
warn-out-of-range = outside { $least } to { $most } { $unit }
    .brief = out of range
years =
    { $count ->
         [one] { $count } year
        *[other] { $count } years
    }
months =
    { $count ->
         [one] { $count } month
        *[other] { $count } months
    }
days =
    { $count ->
         [one] { $count } day
        *[other] { $count } days
    }

## What to look at

look-tag = read the tag again
    .brief = { "" }
look-right-tag = is this the right tag?
    .brief = { "" }
look-figures = is every figure right?
    .brief = { "" }
look-leaves = look at the leaves
    .brief = { "" }
look-species-stem = is it that species? one stem?
    .brief = { "" }
look-tag-bud = is this the right tag? any live bud?
    .brief = { "" }
look-at-old-line = at the old line?
    .brief = { "" }
look-old-line = where is the old line?
    .brief = { "" }
look-slack-height = tape slack or twisted? at the same height?
    .brief = { "" }
look-slack-line = tape slack or twisted? above the paint line?
    .brief = { "" }
look-right-tree = is this the right tree?
    .brief = { "" }
look-right-tree-alive = is this the right tree? is it alive?
    .brief = { "" }
look-remembered = was that read, or remembered?
    .brief = { "" }
look-side = which side of the tape was read?
    .brief = { "" }
look-unit = which unit does the tape show?
    .brief = { "" }
look-point = where is the point?
    .brief = { "" }
look-point-right = is the decimal point right?
    .brief = { "" }
look-digits = say the digits one by one
    .brief = { "" }
look-tape = read the tape again
    .brief = { "" }

## Being alone

are-you-well = are you well? Say I am standing
no-answer = no answer to 'are you well?', asked { $count ->
     [one] once
    *[other] { $count } times
 }; nobody is called: say I am standing

## What does not work, and what happened

plot-changed = the plot was changed meanwhile: say it again
not-heard = not heard: { $why }
not-saved-why = not saved: { $why }
not-kept-why = not kept: { $why }
not-taken-why = that was not taken: { $why }
say-it-again-why = { $why }: say it again
spoken-over = something said over the voice was not taken: say it again
too-long = too long
sound-lost = sound was lost
works-again = the { $name } works again
room-again = there is room on the disk again
name-microphone = microphone
name-voice = voice
name-disk = disk
name-recogniser = recogniser
name-speaker = speaker
disk-nearly-full = the disk is nearly full: under { $size } MB left
disk-slow = the disk is slow: saving took { $count ->
     [one] { $count } second
    *[other] { $count } seconds
 }
clock-forward = the clock was set forward by { $time }
clock-back = the clock was set back by { $time }
back-after-sleep = back after { $time } asleep
time-zone = the time zone is now UTC { $offset }
span = { $days } { $hours } { $minutes }
seconds =
    { $count ->
         [one] { $count } second
        *[other] { $count } seconds
    }
minutes =
    { $count ->
         [one] { $count } minute
        *[other] { $count } minutes
    }
hours =
    { $count ->
         [one] { $count } hour
        *[other] { $count } hours
    }
none-there = There is no { $kind }. Connect one and start again.
none-called = No { $kind } is called '{ $name }'. There are: { $names }.
name-of-several = '{ $name }' could be any of these { $kind }s: { $names }. Give more of the name.
no-sound-system = No { $kind } can be had: this machine's sound system does not answer. Check that sound works in another program, or go on without it.
microphone-gone = The microphone '{ $name }' has just gone. Connect it again.
microphone-not-opened = The microphone '{ $name }' cannot be opened ({ $error }). Check that it is connected and that no other program holds it.
microphone-not-started = The microphone '{ $name }' does not start ({ $error }).
microphone-ended = The microphone '{ $name }' has ended.
microphone-stalled = The microphone '{ $name }' has sent nothing for { $seconds } s. Check its plug, switch or battery.
microphone-other = The microphone '{ $name }' was changed: it is another now, or works otherwise.
microphone-changed = the microphone was changed, and is open again
machine-slept = The machine slept.
speaker-not-opened = The speaker '{ $name }' cannot be opened ({ $error }). Check that it is connected, or go on by the screen.
speaker-stopped = The speaker '{ $name }' stopped taking sound. Check its plug or battery.
typing-goes-on = { $what } Typing goes on.
still-typing = { $what }; typing goes on
recording-ended = the recording has ended
mic-silent = no sound from the microphone: is it muted, or switched off?
mic-loud = too loud for the microphone: hold it a little further away
mic-distant = hard to hear over the noise: bring the microphone nearer
recogniser-slow = the recogniser takes long: wait, or type. It is started anew if it hangs
recogniser-failed-start = the recogniser { $what } while it was started
recogniser-failed-twice = the recogniser { $what }, and did so again when started anew
recogniser-restarted = the recogniser { $what } and was started again
recogniser-second = the recogniser { $first } crashed five times in a row: { $second } hears now, until the next start. Look at what it echoes
recogniser-down = the recogniser does not work: type, or use the tape
recogniser-closed = the recogniser was closed
type-or-tape = { $what }: type, or use the tape
went-gone = is gone
went-stopped = stopped
went-hung = hung
went-nonsense = answered nonsense
no-echo = no spoken echo: { $why }
no-echo-beeps = no spoken echo: { $why } Beeps stand for it: look at the screen
no-canceller = the canceller (pywebrtc-audio) is not installed: nothing is heard while the voice speaks
voice-hangs = The voice hangs.
voice-silent = The voice gives no sound.
voice-failed = The voice failed ({ $error }).
voice-unknown = There is no voice called '{ $name }'; try 'en-gb' or 'en-us'.
cannot-hear = { $engine } cannot hear { $words }: type what needs them, or choose { $other } in survey.toml
cannot-hear-names = { $engine } cannot hear { $count } names: type them, the screen says which
other-vosk-model = engine vosk with a model that has them
other-larger-model = a larger Vosk model
other-engine = another engine
no-engine-hears = no embedded engine hears '{ $code }': set a Vosk model in survey.toml
tape-searching = { $device }: looking for it
tape-not-in-range = { $device }: not in range; switch it on
tape-connected = { $device }: connected
tape-connected-reads = { $device }: connected, reads { $form }
tape-lost-why = { $device }: lost ({ $error })
tape-unplugged = { $device }: lost (unplugged or switched off)
tape-battery = { $device }: battery { $percent } %
tape-not-taken = { $device }: not taken: { $why }
tape-no-permission = { $device }: no permission for { $port }; add yourself to the group that owns it (often dialout) and log in again
tape-not-there = { $device }: not there ({ $error }); plug it in or switch it on

## Before work

caution-footing = watch your footing and the limbs overhead
caution-ear = keep one ear free
caution-alone = tell someone where you are and when you will be back
caution-rules = local rules come first
voices-kept = What is said to it is kept as sound, with your name. 'callout erase' removes it.
all-voices-kept = ALL sound is kept, others' voices too. Ask those in hearing first, and tell who comes.

## More warnings

warn-other-side = you said { $said }, this plot is measured by { $usual }
    .brief = { $said }
warn-beside-whole = { $what } is saved without a stem
    .brief = stem beside whole
a-reading = a reading
side-girth = girth
side-diameter = diameter
look-other-stem = is that another stem?
    .brief = { "" }
tape-refused = { $count } { $reason }
tape-link-lost = { $device }: link lost
its-port = its port
speaker-not-stopped = The speaker '{ $name }' does not stop ({ $error }).
none-heard = no callout was heard
session-sound-not-kept = the session's sound is not kept now: { $why }
tape-why = { $device }: { $why }

## The screen: where the work stands, and the keys that answer it

state-starting = STARTING: YOU CAN TYPE
state-paused = PAUSED: { $state }
state-confirm = CONFIRM?
state-check-confirm = CHECK, THEN CONFIRM?
state-check-accept = CHECK, THEN ACCEPT?
state-named = DIAMETER?
state-named-refused = NOT SAVED. DIAMETER?
state-note = NOTE: SPEAK NOW
state-saved = SAVED
state-done = DONE
state-refused = REFUSED
state-asked = PLEASE ANSWER
state-fault = FAULT: SEE BELOW
state-listening = LISTENING
state-typing = READY FOR TYPING
keys-yes = Enter = yes
keys-no = Esc = no
keys-accept = F4 = accept
keys-send = Enter = send the line
keys-clear = Esc = clear it
keys-go-on = F9 = GO ON
keys-looked = F4 = I looked at it
keys-voice-off = F7 = voice off
all-keys = Enter yes Esc no F4 accept F1 help F8 undo F3 repeat F5 skip F9 pause F7 mute
notice-too-soon = NOT confirmed, too soon: read it, then press again.
notice-nothing-waits = Nothing waits for a yes.
notice-too-long = NOT sent: a line has at most { $count } characters.

## The screen: its parts from top to bottom

plot-shown = Plot { $plot }
progress = { $done } of { $total } done, { $left } left
voice-on = voice on
voice-muted = VOICE MUTED
voice-speaks = VOICE SPEAKING
large-tree = Tree { $tag }
large-saved = Saved: tree { $tag }, { $size }
large-next = Next: tree { $tag }
large-hint = Say or type a tree and its diameter in { $unit }, like: tree 83 24.6
# Large block letters, for which there are capitals, digits and little else; other words are shown small.
large-ready = READY
large-refused = NO
past = Last time: { $size }
changed = Change: { $change }
change-up = up { $size }
change-down = down { $size }
change-none = no change
warned = CHECK:
looks = LOOK:
heard = Heard:
nothing-heard = nothing yet
said = Said:
typed = Typed:
taken-later = taken as soon as it has started
saved-list = SAVED, newest first
saved-none = nothing yet
saved-warned = warned
left-list = LEFT: { $count }, next
left-more = and { $count } more
left-all-done = nothing: every tree is accounted for
left-none = nothing
mic = Mic
mic-no-level = Mic: no level
mic-closed = Mic closed: F6 to talk
mic-stale = Mic: NO LEVEL, check the microphone
level-loud = TOO LOUD
level-none = NO SOUND
level-speech = speech
level-quiet = quiet
engine = Engine: { $name }
engine-loads = Engine: loading
engine-none = Engine: none
fault = FAULT:
hint = Note:
type-here = a tree and its size, like 83 24.6
daemon-gone = the daemon does not answer: nothing is heard or saved; trying again
daemon-not-sent = not sent: { $why }
daemon-not-understood = not understood: { $why }

## The screen: what may lie over it

before-you-start = BEFORE YOU START
press-any-key = Press any key.
the-keys = KEYS
help-confirm = yes: save what is shown large (with no line typed)
help-reject = no: do not save it. With a line typed, Esc clears the line
help-accept = accept: save it although there is a warning
help-undo = undo the last one saved
help-repeat = repeat what was said
help-skip = skip this tree; it stays on the list
help-talk = talk: opens a closed microphone for one callout
help-mute = mute the voice, or turn it on again
help-pause = pause: nothing spoken is taken; again to go on
help-next = next: which tree comes next
help-plot = another plot: type its name, then Enter
help-colours = dark or light colours
help-keys = these keys
help-leave = leave; a reading that waits will still wait
any-character = any character
help-character = types a callout: 83 24.6, then Enter. None acts by itself
help-say = Or say or type: tree 83, 24.6, confirm, accept, no, undo, skip, what's left.
help-held = A held key counts once. Listening goes on meanwhile.
press-any-key-back = Press any key to go back.

## The screen of replay

replay-moments =
    { $count ->
         [one] { $count } moment
        *[other] { $count } moments
    }
replay-choose = Up/Down choose
replay-play = Space play/stop
replay-every = E every engine
replay-dark = F2 dark
replay-leave = Q leave
replay-hearing = hearing it …

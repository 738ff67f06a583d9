# What Callout tells people, in Korean. The wording is from memory and was not read by Korean crews.

# espeak-ng's voice, used unless survey.toml names another, and the word it is given for the point:
# it reads "24.6" as "24 6".
its-voice = ko
its-point = 점


## Parts of a reading, in the order in which they are called

as-is = { $text }
reading = { $parts }
tag = { $tag }
tag-stem = { $tag } 줄기 { $stem }
tree = 나무 { $tag }
tree-stem = 나무 { $tag } 줄기 { $stem }
tag-lost = 표찰 분실
tag-was = 전 번호 { $tag }
size = { $value }
amount = { $value } { $unit }
size-girth = 둘레 { $called }, 지름 { $kept }
size-kept-as = { $called }, 기록 { $kept }
measured-at = 측정 높이 { $height } 미터
measured-at-called = 측정 높이 { $called }, { $height } 미터
status-live = 생존
status-dead-standing = 고사
status-dead-down = 쓰러짐
status-cut = 벌채
status-missing = 없음
status-not-found = 못 찾음
status-dead = 고사
status-down = 쓰러짐
unit-in = 인치
unit-cm = 센티미터
unit-mm = 밀리미터
unit-m = 미터
unit-ft = 피트
short-in = 인치
short-cm = 센티미터
short-mm = 밀리미터
short-m = 미터
short-ft = 피트
spelt-tag = 번호 { $figures }
spelt-size = 지름 { $figures }
new-tree = 새 나무 { $reading }
reading-again = { $tree } 다시: { $now }
reading-instead = { $tree } 다시: { $now }, 전 기록 { $before }
reading-before = 앞의 측정값
undo = 되돌릴까요, { $reading }: { $then }
nothing-stands = 남는 기록 없음
stands-again = { $reading } 다시 유효
before-of-stands-again = { $tag } 앞의 측정값이 다시 유효

## What is asked

echo = { $parts }
confirm-asked = 확인?
    .brief = { "" }
accept-asked = 인정?
still-waiting = 아직 기다림: { $what }
not-saved-yet = 아직 저장 안 됨: { $what }
say-accept-to-keep = { $size } 그대로 두려면 인정, 아니면 다시 부르세요
    .brief = 인정?
say-accept-to-keep-it = 그대로 두려면 인정, 아니면 다시 부르세요
    .brief = 인정?
say-accept-to-undo = 되돌리려면 인정, 아니면 아니라고 하세요
    .brief = 인정?
tree-in-hand = { $parts }
diameter-asked = 지름?
which-tree = 어느 나무? 나무와 번호를 말하세요
size-which-tree = { $size }: 어느 나무?
size-or-tree = 지름 { $size } 또는 나무 { $tag }: 어느 것인지 말하세요
new-tree-in-hand = 새 { $parts }
which-tree-lost = 어느 나무? 나무와 옛 번호를 말하고 표찰 분실이라고 하세요

## What was done

saved = 저장 { $reading }
    .full = 저장
    .brief = { "" }
few-words-now = 이제부터 음성은 번호와 값만 말하고 저장은 신호음으로 알립니다; survey.toml의 echo = "full"이면 모두 말합니다
    .full = 이제부터 번호와 값만 말합니다; 신호음은 저장입니다
    .brief = 이제부터 번호와 값만 말합니다; 신호음은 저장입니다
was-not-saved = { $reading } 저장 안 됨
was-not-undone = { $reading } 되돌리지 않음
undone = 되돌림: { $reading } 취소
look-again = { $tag } 다시 보세요: { $warnings }
not-saved = 저장 안 됨
say-tree-again = 나무 { $tag }: 다시 말하세요
say-tree-and-tag-again = 나무 { $tag }: 새 번호와 함께 다시 말하세요
skipped = { $tag } 건너뜀, 목록에 남음
scratched = 취소함, 저장 안 됨
scratched-undo = 취소함, 되돌리지 않음
size-dropped = { $size } 버림

## The walk

plot = 조사구 { $plot }
about-paint-line = 페인트 선 있음
about-no-paint-line = 페인트 선 없음
about-plot = { $parts }
about-since = { $when } 부터
tags = { $tags }
tags-more = { $tags } 외 { $more }
passed-over = 지나친 나무 { $tags }
next-tree = 다음 { $tag }
    .brief = { "" }
next-asked = 다음 { $tag }
end-of-list = 목록 끝
left = 남은 나무 { $count }: { $tags }
nothing-left = 이 조사구에 남은 나무 없음
not-complete = 완료 아님
all-accounted-for = 이 조사구의 나무를 모두 조사함

day = { $parts }
day-saved = 저장 { $count }
day-left = 이 조사구에 남은 나무 { $count }
day-waits = 나무 { $tag } 아직 확인 기다림
day-no-size = 나무 { $tag } 아직 지름 기다림

## Answers

paused = 멈춤: 어디라고 말하거나 계속이라고 입력하세요
goes-on = 다시 듣습니다
was-not-paused = 듣고 있습니다
last-time = { $tag }, { $year }년에 { $size }
no-last-time = { $tag } 이전 지름 없음
no-tree-in-hand = 지금 부른 나무 없음
blind-not-told = 저장 전에는 알리지 않음: 이 조사구는 이전 값 없이 잽니다
no-warning = 의심할 것 없음
species-of-new = 수종은 새 나무에만: 새 나무와 번호를 먼저 말하세요
species-unheard = 새 나무인데 수종이 명부에 없거나 알아듣지 못함: 처음부터 다시 말하거나 입력하세요
no-such-plot = 조사구 { $plot } 없음
help-idle = 나무와 지름, 또는 번호만 부르세요. 남은 나무, 다음, 되돌리기, 메모, 멈춤, 조사구 이름도 됩니다
help-named = 지름, 또는 고사, 벌채, 없음, 발견 못함이라고 하세요. 지난번, 통과, 아니도 됩니다
help-new = 지름이나 수종, 또는 고사라고 하세요. 아니도 됩니다
help-pending = 확인, 또는 아니와 맞는 지름을 말하세요. 다시, 지난번, 측정 높이, 취소도 됩니다
help-warned = 인정, 또는 다시 부르세요. 왜, 지난번, 아니, 취소도 됩니다
help-note = 메모를 말하거나 입력하세요. 아니도 됩니다
help-paused = 어디라고 말하거나 계속이라고 입력하세요
nothing-to-repeat = 다시 말할 것 없음
last-saved = 마지막 저장 { $reading }
nothing-saved-yet = 아직 저장한 것 없음
in-hand = 지금 나무 { $tag }
all-well = 좋습니다, { $time } 이상 없음
settings-changed = 설정이 바뀜: { $what }. 보고 나서 인정이라고 하세요
clock-before = 시계는 { $now }, 조사는 이미 { $known }: 시계를 맞추거나 인정이라고 하세요
holder-other = 지난번에는 다른 기계의 조사였음: 낯선 이에게서 왔을 수 있음. 넘겨받으려면 인정이라고 하세요
noted = 확인함
tag-corrected-by = 바뀐 것 없음: 기다리는 것은 아니요, 저장된 것은 되돌리기와 인정; 그 다음 나무 { $tag } 번호와 지름을 말하세요
waits-not = 나무 { $tag } 기다리는 것 없음; 마지막 저장은 되돌리기로 취소
which-species = 수종과 이름을 말하거나 입력하세요
nothing-waits = 확인할 것 없음
that-has-changed = 그 사이 바뀌었음
say-again = 다시 말하세요
cannot-be-done = 지금은 할 수 없음: { $command }
nothing-to-skip = 건너뛸 나무 없음
nothing-to-undo = 이 조사구에서 되돌릴 것 없음

## Callouts by their plain words

command-confirm = 확인
command-accept = 인정
command-reject = 아니
command-repeat = 다시
command-undo = 되돌리기
command-skip = 통과
command-scratch = 취소
command-note = 메모
command-left = 남은 나무
command-where = 어디
command-well = 이상 무
command-complete = 조사 완료
command-help = 도움말
command-pause = 멈춤
command-resume = 계속
command-next = 다음
command-mistag = 다른 번호
command-last = 지난번
command-why = 왜
command-plot = 조사구
command-species = 수종
command-retag = 표찰 분실
command-height = 높이
command-status = 상태
command-press = 줄자
command-reading = 측정
command-size = 지름
command-amend = 정정
command-tree = 나무
command-new = 새 나무

## Notes

note-asked = { $about } 메모: 지금 말하거나 입력하세요
note-echo = { $about } 메모: { $words }
note-dropped = { $about } 메모 저장 안 됨
note-kept = { $about } 메모 저장
no-note-heard = 메모가 들리지 않음

## Presses of a tape

press = 줄자 { $value } { $unit }
press-girth = 줄자 둘레 { $value } { $unit }
press-which-tree = { $press }: 어느 나무?
press-dropped = { $press } 버림
press-too-late = { $press } 나무를 너무 오래 기다림: 다시 누르세요
press-other-tree = { $press }, 줄자는 나무 { $tag }, 부른 나무는 { $named }: 다시 누르세요
press-not-taken = { $press } 받지 않음: { $other } 기다리는 동안 { $device } 눌림
press-both = { $other }, { $device } 둘 다 나무 없이 눌림: 다시 누르세요

## Why it was not taken

say-tree-word = 다른 나무 { $tag }? 번호 앞에 나무라고 하세요
no-such-tree = 이 조사구에 나무 { $tag } 없음: 새것이면 새 나무라고 하세요
read-old-tag = 이 조사구에 나무 { $tag } 없음: 옛 번호를 다시 읽으세요
read-tag = 이 조사구에 나무 { $tag } 없음: 번호를 다시 읽으세요
tag-in-plot = 번호 { $tag } 이미 있음: 다시 읽으세요
new-tree-together = 새 나무와 번호와 지름을 함께 말하세요
height-needs-size = 높이는 지름과 함께: 지름을 먼저 부르세요
height-out-of-reach = { $called } 손이 닿지 않음: { $lowest } 에서 { $highest } 미터로 말하세요
height-or-feet = { $called } 손이 닿지 않음: { $lowest } 에서 { $highest } 미터로 말하세요, 피트였습니까
metres = { $metres } 미터
feet = { $feet } 피트
size-of-figures = { $count } 자리 지름은 읽을 수 없음: 다시 부르세요
size-too-large = { $size } 어떤 나무보다 큼: 다시 부르세요
size-of-nothing = { $size }, { $kept } 기록되어 크기가 아님: 다시 부르세요
say-which-stem = 나무 { $tag } 줄기 { $count ->
     [1] { $last }
    *[other] { $stems }, { $last }
 } 저장됨: 어느 줄기인지 말하세요

## What was not understood

no-callout = 알 수 없음, { $words }: 나무, 번호, 지름 순으로 말하세요
so-far = { $meaning } 알아들음, { $rest } 모름: 다시 부르세요
nothing-fits = 이 조사구에 맞는 것 없음: { $meanings }?
could-be = { $meanings } 중 어느 것인지: 사이에 지름이라고 하세요
could-be-either = { $one }, 또는 { $other } 중 어느 것인지: 다시 말하세요
or-meaning = 또는 { $meaning }
not-sure = 확실하지 않음: 다시 말하세요
meant = { $tree } { $stem } { $size } { $status }
meant-stem = 줄기 { $stem }
meant-diameter = 지름 { $value }
could-be-digits = { $one }, 또는 { $other } 중 어느 것인지: 숫자를 하나씩 다시 말하세요
spelt-tree = 나무 { $figures }
spelt-tree-alone = 나무 { $figures } 만
spelt-new-tag = 새 번호 { $figures }
spelt-whole = { $whole }
spelt-value = { $whole } 점 { $places }
spelt-amount = { $value } { $unit }
its-diameter = 그 지름
no-diameter = 지름 없음
no-stem = 줄기 없음
callout-too-long = { $count } 자는 너무 김: 짧게 말하세요
cannot-read = { $words } 읽을 수 없음: { $advice }
size-begins = 지름은 0.5 처럼 숫자로 시작
size-below-zero = 지름은 0 보다 작지 않음
write-point = 24.6 처럼 쓰거나 쉼표 뒤를 띄우세요
write-sure = 지름은 물음표 없이 쓰세요
write-words = 낱말이나 숫자로 쓰세요
write-fraction = 분수는 2분의 1에서 32분의 1까지, 11 3/8처럼 쓰세요
number-in-one-piece = { $meaning }? 숫자를 이어서 말하세요
number-of-figures = { $count } 자리 번호의 나무는 없음: 다시 부르세요
line-too-long = { $count } 자의 줄은 부름도 메모도 아님

## Warnings

warn-unknown-tag = 이 조사구에 나무 { $tag } 없음
warn-tag-in-use = 나무 { $tag } 이미 있음
warn-old-tag = 번호 { $tag }, { $new } 번호로 바뀜
warn-heard-unsurely = 확실히 듣지 못함
warn-already-today = 오늘 이미 { $what }
warn-already-on = 이미 { $what }, { $day }
measured = 측정함
warn-species-not-in-plot = 이 조사구에 { $species } 없었음
warn-beyond-species = { $species } 치고 큼
warn-status-last-time = 지난번 { $status }
warn-roster-height = 명부의 높이 '{ $text }' 숫자가 아님
warn-height-last-time = 지난번 측정 높이 { $height } 미터
warn-roster-breast-height = 명부의 가슴높이 '{ $text }' 숫자가 아님
warn-breast-height = 가슴높이 지난번 { $before } 미터, 여기는 { $now }
warn-down = { $change } 줄었음 ({ $time } 동안)
warn-up = { $change } 늘었음 ({ $time } 동안)
warn-same-as-ago = { $time } 전과 같음
warn-figure-again = { $time } 전과 같음
warn-more-than-tape = { $change }, 줄자 오차보다 큼
warn-with-change = { $change }, { $slip }
warn-tree-before = 앞 나무와 같음
warn-fits-other = { $change }, 나무 { $tag } 쪽에 더 맞음
warn-girth = 둘레로 보임
warn-diameter = 지름을 둘레로 읽은 듯함
warn-centimetres = 센티미터로 보임
warn-inches = 인치로 보임
warn-converted = { $unit } 단위에서 바꾼 값으로 보임
warn-decimal = 소수점이 한 자리 틀린 듯함
warn-alike = 십육입니까 육십입니까?
warn-swapped = 두 숫자가 바뀐 듯함
warn-one-off = 숫자 하나가 하나 틀린 듯함
warn-other-unit = 말한 단위 { $said }, 이 조사구 단위 { $kept }
warn-out-of-range = { $least } 에서 { $most } { $unit } 밖
years = { $count }년
months = { $count }개월
days = { $count }일

## What to look at

look-tag = 번호를 다시 읽으세요
    .brief = { "" }
look-right-tag = 번호가 맞습니까?
    .brief = { "" }
look-figures = 숫자가 모두 맞습니까?
    .brief = { "" }
look-leaves = 잎을 보세요
    .brief = { "" }
look-species-stem = 그 수종입니까? 줄기 하나입니까?
    .brief = { "" }
look-tag-bud = 번호가 맞습니까? 산 눈이 있습니까?
    .brief = { "" }
look-at-old-line = 옛 선에서 재었습니까?
    .brief = { "" }
look-old-line = 옛 선이 어디입니까?
    .brief = { "" }
look-slack-height = 줄자가 느슨하거나 꼬였습니까? 같은 높이입니까?
    .brief = { "" }
look-slack-line = 줄자가 느슨하거나 꼬였습니까? 페인트 선 위입니까?
    .brief = { "" }
look-right-tree = 나무가 맞습니까?
    .brief = { "" }
look-right-tree-alive = 나무가 맞습니까? 살아 있습니까?
    .brief = { "" }
look-remembered = 읽은 값입니까, 기억한 값입니까?
    .brief = { "" }
look-side = 줄자의 어느 면을 읽었습니까?
    .brief = { "" }
look-unit = 줄자의 단위가 무엇입니까?
    .brief = { "" }
look-point = 소수점이 어디입니까?
    .brief = { "" }
look-point-right = 소수점이 맞습니까?
    .brief = { "" }
look-digits = 숫자를 하나씩 말하세요
    .brief = { "" }
look-tape = 줄자를 다시 읽으세요
    .brief = { "" }

## Being alone

are-you-well = 괜찮습니까? 서 있습니다 또는 이상 무라고 말하세요
no-answer = 대답 없음, 물은 횟수 { $count } 번; 아무에게도 알리지 않음: 서 있습니다라고 말하세요

## What does not work, and what happened

plot-changed = 그 사이 조사구가 바뀌었음: 다시 말하세요
not-heard = 듣지 못함: { $why }
not-saved-why = 저장 안 됨: { $why }
not-kept-why = 보관 안 됨: { $why }
not-taken-why = 받지 못함: { $why }
say-it-again-why = { $why }: 다시 말하세요
spoken-over = 음성과 겹쳐 말한 것은 받지 않음: 다시 말하세요
too-long = 너무 김
sound-lost = 소리가 빠짐
works-again = { $name } 다시 됨
room-again = 디스크에 다시 자리가 있음
name-microphone = 마이크
name-voice = 음성
name-disk = 디스크
name-recogniser = 인식기
name-speaker = 스피커
disk-nearly-full = 디스크가 거의 참: { $size } MB 미만 남음
disk-slow = 디스크가 느림: 저장에 { $count } 초
clock-forward = 시계가 { $time } 앞으로 바뀜
clock-back = 시계가 { $time } 뒤로 바뀜
back-after-sleep = { $time } 잠든 뒤 다시 켜짐
time-zone = 시간대가 이제 협정시 { $offset }
span = { $days } { $hours } { $minutes }
seconds = { $count } 초
minutes = { $count } 분
hours = { $count } 시간
none-there = { $kind } 없음. 연결하고 다시 시작하세요.
none-called = '{ $name }' 이름의 { $kind } 없음. 있는 것: { $names }.
name-of-several = '{ $name }' 이름의 { $kind } 여럿: { $names }. 이름을 더 적으세요.
no-sound-system = { $kind } 쓸 수 없음: 소리 체계가 대답하지 않음. 다른 프로그램에서 소리가 나는지 보거나 없이 계속하세요.
microphone-gone = 마이크 '{ $name }' 방금 사라짐. 다시 연결하세요.
microphone-not-opened = 마이크 '{ $name }' 열 수 없음 ({ $error }). 연결되었는지, 다른 프로그램이 쓰는지 보세요.
microphone-not-started = 마이크 '{ $name }' 시작되지 않음 ({ $error }).
microphone-ended = 마이크 '{ $name }' 끝남.
microphone-stalled = 마이크 '{ $name }' 소리 없음 { $seconds } 초. 플러그와 스위치와 배터리를 보세요.
microphone-other = 마이크 '{ $name }' 바뀌었음: 다른 것이거나 다르게 동작함.
microphone-changed = 마이크가 바뀌어 다시 열림
machine-slept = 기계가 잠들었음.
speaker-not-opened = 스피커 '{ $name }' 열 수 없음 ({ $error }). 연결되었는지 보거나 화면으로 계속하세요.
speaker-stopped = 스피커 '{ $name }' 소리를 받지 않음. 플러그와 배터리를 보세요.
typing-goes-on = { $what } 입력은 계속됨.
still-typing = { $what }; 입력은 계속됨
recording-ended = 녹음이 끝남
mic-silent = 마이크 소리 없음: 꺼져 있습니까?
mic-loud = 소리가 너무 큼: 마이크를 조금 멀리하세요
mic-distant = 소음에 묻힘: 마이크를 가까이하세요
recogniser-slow = 인식기가 오래 걸림: 기다리거나 입력하세요. 멈추면 다시 시작함
recogniser-failed-start = 인식기가 시작하는 동안 { $what }
recogniser-failed-twice = 인식기가 { $what }, 다시 시작해도 같음
recogniser-restarted = 인식기가 { $what } 다시 시작됨
recogniser-second = 인식기 { $first } 다섯 번 잇달아 꺼짐: 다음 시작까지 { $second }(으)로 들음. 되풀이를 잘 보세요
recogniser-down = 인식기가 되지 않음: 입력하거나 줄자를 쓰세요
recogniser-closed = 인식기가 닫힘
type-or-tape = { $what }: 입력하거나 줄자를 쓰세요
went-gone = 사라져서
went-stopped = 꺼져서
went-hung = 멈춰서
went-nonsense = 뜻 모를 대답을 해서
no-echo = 음성 응답 없음: { $why }
no-echo-beeps = 음성 응답 없음: { $why } 신호음으로 대신함: 화면을 보세요
no-canceller = 음성 제거 라이브러리(pywebrtc-audio)가 설치되지 않음: 음성이 나오는 동안에는 듣지 않음
voice-hangs = 음성이 멈춤.
voice-silent = 음성에 소리 없음.
voice-failed = 음성이 실패함 ({ $error }).
voice-unknown = '{ $name }' 이라는 음성 없음; 'en-gb' 나 'en-us' 를 써 보세요.
cannot-hear = { $engine } 들을 수 없는 말: { $words }. 입력하거나 survey.toml 설정에서 { $other } 고르세요
cannot-hear-names = { $engine } 들을 수 없는 이름 { $count }: 입력하세요, 화면에 있음
other-vosk-model = 그 말이 있는 모델의 vosk 인식기
other-larger-model = 더 큰 Vosk 모델
other-engine = 다른 인식기
no-engine-hears = 이 언어('{ $code }')를 듣는 인식기 없음: survey.toml 설정에 Vosk 모델을 정하세요
tape-searching = { $device }: 찾는 중
tape-not-in-range = { $device }: 닿지 않음; 켜세요
tape-connected = { $device }: 연결됨
tape-connected-reads = { $device }: 연결됨, 형식 { $form }
tape-lost-why = { $device }: 끊김 ({ $error })
tape-unplugged = { $device }: 끊김 (뽑혔거나 꺼짐)
tape-battery = { $device }: 배터리 { $percent } %
tape-not-taken = { $device }: 받지 않음: { $why }
tape-no-permission = { $device }: { $port } 권한 없음; 그 그룹(흔히 dialout)에 자신을 넣고 다시 로그인하세요
tape-not-there = { $device }: 없음 ({ $error }); 꽂거나 켜세요

## Before work

caution-footing = 발밑과 머리 위 가지를 살피세요
caution-ear = 한쪽 귀는 열어 두세요
caution-alone = 있는 곳과 돌아올 때를 누군가에게 알리세요
caution-rules = 현지 규칙이 먼저입니다
voices-kept = 말한 것은 이름과 함께 소리로 보관됩니다. 'callout erase' 로 지웁니다.
all-voices-kept = 모든 소리가 보관됩니다, 다른 사람의 말도. 들리는 곳에 있는 사람에게 먼저 묻고, 오는 사람에게 알리세요.

## More warnings

warn-other-side = 말한 면 { $said }, 이 조사구는 { $usual }
warn-beside-whole = { $what } 줄기 없이 저장됨
a-reading = 측정값
side-girth = 둘레
side-diameter = 지름
look-other-stem = 다른 줄기입니까?
    .brief = { "" }
tape-refused = { $reason } { $count }
tape-link-lost = { $device }: 연결 끊김
its-port = 그 포트
speaker-not-stopped = 스피커 '{ $name }' 멈추지 않음 ({ $error }).
none-heard = 부른 것이 들리지 않음
session-sound-not-kept = 작업 소리를 지금 보관하지 않음: { $why }
tape-why = { $device }: { $why }

## The screen: where the work stands, and the keys that answer it

state-starting = 시작 중: 입력할 수 있음
state-paused = 멈춤: { $state }
state-confirm = 확인?
state-check-confirm = 살펴보고 나서 확인?
state-check-accept = 살펴보고 나서 인정?
state-named = 지름?
state-named-refused = 저장 안 됨. 지름?
state-note = 메모: 지금 말하세요
state-saved = 저장됨
state-done = 처리됨
state-refused = 받지 않음
state-asked = 대답하세요
state-fault = 이상: 아래를 보세요
state-listening = 듣는 중
state-typing = 입력할 수 있음
keys-yes = Enter = 확인
keys-no = Esc = 아니
keys-accept = F4 = 인정
keys-send = Enter = 줄 보내기
keys-clear = Esc = 줄 지우기
keys-go-on = F9 = 계속
keys-looked = F4 = 살펴보았음
keys-voice-off = F7 = 음성 끄기
all-keys = Enter 확인 Esc 아니 F4 인정 F1 도움 F8 되돌림 F3 다시 F5 통과 F9 멈춤 F7 무음
notice-too-soon = 확인 안 됨, 너무 빠름: 읽고 나서 다시 누르세요.
notice-nothing-waits = 확인을 기다리는 것이 없습니다.
notice-too-long = 보내지 않음: 한 줄은 { $count } 자까지입니다.

## The screen: its parts from top to bottom

plot-shown = 조사구 { $plot }
progress = { $total } 가운데 { $done } 완료, { $left } 남음
voice-on = 음성 켜짐
voice-muted = 음성 꺼짐
voice-speaks = 음성 말하는 중
large-tree = 나무 { $tag }
large-saved = 저장됨: 나무 { $tag }, { $size }
large-next = 다음: 나무 { $tag }
large-hint = 나무와 지름({ $unit })을 말하거나 입력하세요. 보기: 나무 83 24.6
# The large letters have no Hangul: what is in Hangul stands small beside them.
large-ready = OK
large-refused = X
past = 지난번: { $size }
changed = 변화: { $change }
change-up = { $size } 늘었음
change-down = { $size } 줄었음
change-none = 변화 없음
warned = 경고:
looks = 볼 것:
heard = 들음:
nothing-heard = 아직 없음
said = 답함:
typed = 입력:
taken-later = 시작하는 대로 받음
saved-list = 저장됨, 최근 것부터
saved-none = 아직 없음
saved-warned = 경고
left-list = 남음: { $count }, 다음
left-more = 외 { $count }
left-all-done = 없음: 나무를 모두 조사함
left-none = 없음
mic = 마이크
mic-no-level = 마이크: 소리 크기 모름
mic-closed = 마이크 닫힘: F6 누르고 말하기
mic-stale = 마이크: 소리가 오지 않음, 살펴보세요
level-loud = 너무 큼
level-none = 소리 없음
level-speech = 말소리
level-quiet = 조용함
engine = 인식기: { $name }
engine-loads = 인식기: 준비 중
engine-none = 인식기: 없음
fault = 이상:
hint = 알림:
type-here = 나무와 지름, 보기: 83 24.6
daemon-gone = 데몬이 대답하지 않음: 듣지도 저장하지도 않음; 다시 시도하는 중
daemon-not-sent = 보내지 않음: { $why }
daemon-not-understood = 알아듣지 못함: { $why }

## The screen: what may lie over it

before-you-start = 시작하기 전에
press-any-key = 아무 키나 누르세요.
the-keys = 키
help-confirm = 확인: 크게 보이는 것을 저장 (입력한 줄이 없을 때)
help-reject = 아니: 저장하지 않음. 입력한 줄이 있으면 Esc는 줄을 지움
help-accept = 인정: 경고가 있어도 저장
help-undo = 마지막에 저장한 것 되돌리기
help-repeat = 말한 것 다시 듣기
help-skip = 이 나무 통과; 목록에는 남음
help-talk = 말하기: 닫힌 마이크를 한 번 열기
help-mute = 음성 끄기, 다시 켜기
help-pause = 멈춤: 말한 것을 받지 않음; 다시 누르면 계속
help-next = 다음: 다음 나무 묻기
help-plot = 다른 조사구: 이름을 입력하고 Enter
help-colours = 어두운 색, 밝은 색
help-keys = 이 도움말
help-leave = 나가기; 기다리는 측정값은 그대로 기다림
any-character = 글자
help-character = 입력: 83 24.6 다음 Enter. 글자만으로는 아무 일도 없음
help-say = 말하거나 입력: 나무 83 지름 24.6, 확인, 인정, 아니, 되돌리기, 통과, 남은 나무.
help-held = 누르고 있는 키는 한 번으로 칩니다. 그동안에도 듣습니다.
press-any-key-back = 돌아가려면 아무 키나 누르세요.

## The screen of replay

replay-moments = 순간 { $count }
replay-choose = 위/아래 고르기
replay-play = 스페이스 재생/정지
replay-every = E 모든 인식기
replay-dark = F2 어둡게
replay-leave = Q 나가기
replay-hearing = 듣는 중 …

package step

// Account is what the engine tells of one finished stage to a step that packs
// or prints it: the stage's implicit output "account", a JSON file that every
// stage has without declaring it. It changes when the stage's measures, gates
// or signatures change, so that what is packed is never out of date.
type Account struct {
	Stage    string           `json:"stage"`
	Step     string           `json:"step"`
	Part     string           `json:"part,omitempty"`
	Scan     string           `json:"scan,omitempty"`
	State    string           `json:"state"`
	Measures []AccountMeasure `json:"measures"`
	Gates    []AccountGate    `json:"gates"`
	Words    []AccountWord    `json:"words"` // sign-offs, in causal order
	Spots    int              `json:"spots"`
	Notes    []string         `json:"notes"`
	Files    []AccountFile    `json:"files"`
}

// AccountMeasure is one measure, written out with its unit.
type AccountMeasure struct {
	Name string `json:"name"`
	Text string `json:"text"` // "1.234 mm"
	Doc  string `json:"doc,omitempty"`
}

// AccountGate is one gate with its verdict: "holds back", "passes" or "unknown".
type AccountGate struct {
	Name       string       `json:"name"`
	Rule       string       `json:"rule"`
	Why        string       `json:"why,omitempty"`
	Verdict    string       `json:"verdict"`
	Saw        []string     `json:"saw"` // "air.least = 0.800 mm"
	Concession *AccountWord `json:"concession,omitempty"`
}

// AccountWord is a person's signed word.
type AccountWord struct {
	Name    string `json:"name"` // printed name
	Role    string `json:"role,omitempty"`
	Time    string `json:"time"` // RFC 3339, UTC
	Verdict string `json:"verdict"`
	Meaning string `json:"meaning,omitempty"`
	Note    string `json:"note,omitempty"` // for a concession, its reason
	Record  string `json:"record,omitempty"`
}

// AccountFile is one file the stage gave.
type AccountFile struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// AccountOutput is the name under which a recipe asks for a stage's account.
const AccountOutput = "account"

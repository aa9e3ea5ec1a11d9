module layette

go 1.26.0

require (
	codeberg.org/go-pdf/fpdf v0.12.0
	github.com/BurntSushi/toml v1.6.0
	github.com/expr-lang/expr v1.17.8
	github.com/hashicorp/go-multierror v1.1.1
	github.com/hiddeco/sshsig v0.2.0
	github.com/hschendel/stl v1.0.4
	github.com/spf13/cobra v1.10.2
	golang.org/x/crypto v0.59.0
	golang.org/x/term v0.48.0
	golang.org/x/text v0.44.0
	pgregory.net/rapid v1.3.0
)

require (
	github.com/fsnotify/fsnotify v1.10.1
	github.com/qmuntal/gltf v0.28.0
)

require (
	github.com/chromedp/cdproto v0.159.0
	github.com/rogpeppe/go-internal v1.16.0
	github.com/santhosh-tekuri/jsonschema/v6 v6.0.2
)

require (
	github.com/go-json-experiment/json v0.0.0-20260213210345-44df1a37e875 // indirect
	github.com/hpinc/go3mf v0.24.2 // indirect
	github.com/qmuntal/opc v0.7.10 // indirect
	golang.org/x/tools v0.52.0 // indirect
)

require (
	github.com/chromedp/chromedp v0.23.0
	github.com/hashicorp/errwrap v1.0.0 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/spf13/pflag v1.0.9 // indirect
	golang.org/x/image v0.47.0
	golang.org/x/sys v0.50.0
)

@echo off
rem Starts the bench page by double-click. Put the folder of your shop here:
set "SHOP=%USERPROFILE%\Witnessmark shop"
set PYTHONUTF8=1
cd /d "%USERPROFILE%"
where witnessmark >nul 2>nul || (
  echo The command witnessmark is not installed. See docs\install.md.
  pause
  exit /b 1
)
start "" http://127.0.0.1:8740/
witnessmark serve "%SHOP%"
pause
